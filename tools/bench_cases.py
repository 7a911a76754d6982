"""Judged cases per core and second (called by tools/bench): a pure master and an asyncio controller.

The case of the bar: 38400 Bd, 10 + 12 characters, 5 ms turnaround, four cameras polled without rest, 10 simulated
seconds, one fault. What judging costs is the ratio to the same cases without judges, run in turn.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))
from bench import rounds, say
from fuzzed_halls import HALLS, boxed

from busim.recording.trace import EXCHANGE
from busim.simulator.kernel import core
from busim.testing.fuzzing import Case, FaultEvent, PureRun, Result, VirtualRun, run_pure
from busim.testing.judge_catalogue import all_judges

SECOND = 1_000_000_000
# An asyncio controller that asks as fast as it is answered. MODBUS Application Protocol V1.1b3, 6.3.
POLLS = """
import asyncio
READ = [bytes.fromhex(one) for one in ("010300000002c40b", "020300000002c438", "030300000002c5e9", "040300000002c45e")]
async def controller(hall):
    reader, writer = await asyncio.open_connection(*hall.addresses["box"])
    while True:
        for request in READ:
            writer.write(request)
            held = b""
            try:
                async with asyncio.timeout(0.1):
                    while len(held) < 9:
                        held += await reader.read(64)
            except TimeoutError:
                continue
            await asyncio.sleep(0.002)
"""


def cases(count: int) -> None:
    """Cases per CPU second with all judges, and the share of it that judging takes."""
    judges = tuple(all_judges().values())
    pure, bare = PureRun(HALLS["restless"], judges), PureRun(HALLS["restless"], ())
    hall = boxed("at: 9000 s, down: 1 s")
    asynchronous = VirtualRun(hall, judges, "bench", "controller", POLLS, "desk")
    case = Case(1, 10 * SECOND, (FaultEvent("late-reply", "c2", 3 * SECOND, SECOND // 5, (("by", "8 ms"),)),))
    kept = run_pure(HALLS["restless"], case, (), keep=True).records
    print(f"  {sum(1 for one in kept if one[0] == EXCHANGE)} exchanges in a case of the pure master")
    mine, over_bare, of_asyncio = [], [], []
    for _ in rounds(count):
        judged = _rate(pure, case)
        mine.append(judged)
        over_bare.append(judged / _rate(bare, case))
        of_asyncio.append(_rate(asynchronous, case))
    bars = (60, 16) if core() == "compiled" else (30, 8)
    say("judged cases per CPU second, a pure master (this machine, now)", mine, f"at least {bars[0]}", "cases")
    say("judged cases per CPU second / the same without judges", over_bare, "none", "cases")
    say("judged cases per CPU second, an asyncio controller", of_asyncio, f"at least {bars[1]}", "cases")


def _rate(run: Callable[[Case], Result], case: Case, many: int = 5) -> float:
    began = time.process_time()
    for _ in range(many):
        run(case)
    return many / (time.process_time() - began)


if __name__ == "__main__":
    cases(int(sys.argv[1]))

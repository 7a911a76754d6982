"""One case for a program: the installation is served in wall time, the program runs against it, its trace is judged.

The faults and moves of the case are actions of the session, so they are inputs in the trace, and `busim replay` repeats
it to the nanosecond. The program is not simulated: the same case may go differently each time.
"""

from __future__ import annotations

import asyncio
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from busim.plan import Plan
from busim.recording.trace import BURST, INPUT, open_trace
from busim.runtime.clocks import wall_loop
from busim.runtime.session import ChildProcess, Lateness, Live
from busim.testing.fuzzing.case import Case
from busim.testing.fuzzing.happening import happen
from busim.testing.fuzzing.pure import Result
from busim.testing.fuzzing.staying import STAYS_UP, stays_up
from busim.testing.fuzzing.watching import Tail, Watched, used
from busim.testing.judging import FAIL, INCONCLUSIVE, PASS, Bench, Judge, Verdict, bench_trace, ground_of

_LEAD = 0.15  # seconds from entering a session to its instant 0
_GRACE = 1.0  # seconds for the program to finish when its case is over
_LOOK = 0.1  # seconds between two checks whether to stop
_LATE = 100_000_000  # ns; what follows events that came, or a program that ran, later may be caused by the machine
_UNSETTLED = 2_000_000_000  # ns after a late event in which its consequences may still show
_MEASURE = 2  # checks from one measurement of memory and CPU time to the next
_LAG = 100_000_000  # ns by which a program may report its beliefs late (assumed)


def _never() -> bool:
    return False


@dataclass(frozen=True)
class ServedRun:
    """Runs a case against `command`, as a call that other processes can make too.

    `master`: whose part the command plays. `hooked`: it reads moves and tells beliefs as lines (`busim explain hook`).
    `memory`: bytes at which it is ended. `folder`: where traces of failed cases go. `stop` says whether to break off:
    then the case is judged as far as it went.
    """

    plan: Plan
    judges: tuple[type[Judge], ...]
    command: tuple[str, ...]
    master: str
    folder: str
    hooked: bool = False
    memory: int = 1 << 30

    def __call__(self, case: Case, stop: Callable[[], bool] = _never) -> Result:
        handle = tempfile.NamedTemporaryFile(dir=self.folder, prefix="case-", suffix=".busim", delete=False)  # noqa: SIM115
        handle.close()
        path = Path(handle.name)
        path.unlink()
        kept = False
        try:
            with asyncio.Runner(loop_factory=wall_loop) as runner:
                served = runner.run(_serve(self, case, path, stop))
            result = _judged(self, case, path, *served)
            kept = any(one.outcome == FAIL for one in result.verdicts)
            return result
        finally:
            if not kept:
                path.unlink(missing_ok=True)


async def _serve(
    run: ServedRun, case: Case, path: Path, stop: Callable[[], bool]
) -> tuple[Live, Watched, list[tuple[int, int]]]:
    tail = Tail()
    skipped: list[str] = []
    seen = _Seen()
    live = Live(
        run.plan, case.seed, trace=path, until=case.length, intents=run.hooked, distinct=True, any_port=True,
    )  # fmt: skip
    start = asyncio.get_running_loop().time() + _LEAD
    before = time.process_time()

    def left(at: int) -> float:
        return start + at / 1e9 - asyncio.get_running_loop().time()

    async with live:
        # What it sent ahead of instant 0 would wait, and come all at once.
        await asyncio.sleep(max(0.0, start - asyncio.get_running_loop().time()))
        child = ChildProcess(live, run.command, hook=run.hooked, news=lambda _: None, errors=tail.take, grace=_GRACE)
        tasks = [
            asyncio.ensure_future(happen(live, case, left, skipped)),
            asyncio.ensure_future(_watch(run, live, child, seen, stop)),
        ]
        live.lateness = Lateness()  # what came late while the session was set up, no program saw
        try:
            code = await child.run()
        finally:
            for task in tasks:
                task.cancel()
        reached = live.now
        early = reached if reached < case.length and not stop() else None
        own = time.process_time() - before
    watched = Watched(
        code, early, child.killed, 0, 0, seen.memory, seen.cpu, tail.count,
        tail.last_line, tuple(skipped), max(live.lateness.largest, seen.stalled),
        (own + seen.cpu) / max(_LOOK, reached / 1e9),
    )  # fmt: skip
    return live, watched, seen.late


@dataclass(slots=True)
class _Seen:
    """What was measured of a run: `memory` in bytes, `cpu` in seconds; `late`: instants from which this machine stood
    in the way, and for how long (ns); `stalled`: of that, the longest in busim itself.
    """

    memory: int = 0
    cpu: float = 0.0
    late: list[tuple[int, int]] = field(default_factory=list)
    stalled: int = 0


async def _watch(run: ServedRun, live: Live, child: ChildProcess, seen: _Seen, stop: Callable[[], bool]) -> None:
    """Measure the program, and the time that the machine gave to neither it nor busim: bytes that came meanwhile are
    read late, and in one piece.
    """
    loop = asyncio.get_running_loop()
    count, started, checked = 0, False, 0
    waited: dict[int, int] = {}
    while True:
        due = loop.time() + _LOOK
        await asyncio.sleep(_LOOK)
        stalled = int((loop.time() - due) * 1e9)
        if stalled > _LATE:
            seen.late.append((live.now - stalled, stalled))
            seen.stalled = max(seen.stalled, stalled)
        if child.group and not started:
            started = True
            if live.now > _LATE + _LOOK * 1e9:
                seen.late.append((0, live.now))
        count += 1
        if stop():
            child.kill()
        elif child.group and not count % _MEASURE:
            memory, seen.cpu, now = used(child.group)
            seen.memory = max(seen.memory, memory)
            if memory > run.memory:
                child.kill()
            if max((ns - waited.get(thread, 0) for thread, ns in now.items()), default=0) > _LATE:
                seen.late.append((checked, live.now - checked))
            waited, checked = now, live.now


def _judged(
    run: ServedRun, case: Case, path: Path, live: Live, watched: Watched, stood: Sequence[tuple[int, int]]
) -> Result:  # fmt: skip
    world = live.run.world
    ground = ground_of(
        run.plan, world.names, run.master, hooked=run.hooked, played=False, lag=_LAG, drivers=world.settings
    )
    bench = Bench(ground, run.judges, meant=bool(case.faults))
    until = world.kernel.now
    with open_trace(path) as trace:
        clients = sum(1 for row in trace.records(INPUT) if row[4] == "open")
        requests = sum(1 for row in trace.records(BURST) if row[2] in ground.ours)
        verdicts = bench_trace(bench, trace, until)
        late = [*stood, *((at, ns) for at, ns in trace.lateness() if ns > _LATE)]
    verdicts = [unsure(one, late) for one in verdicts]
    seen = replace(watched, clients=clients, requests=requests)
    up = stays_up(_ended(run, seen), clients, requests, bench)
    if seen.early is None:
        up = unsure(up, late)
    return Result((*verdicts, up), bench.reached, trace=str(path), watched=seen)


def unsure(verdict: Verdict, late: Sequence[tuple[int, int]]) -> Verdict:
    """A verdict with what this machine may have caused taken out. `late`: instants that were served late, or from which
    the program got no processor, and for how many ns; a violation soon after one of them may be the machine's. A
    failure with no other one is inconclusive. A program that never came to ask may have had no time to.
    """
    if not late or verdict.outcome == PASS:
        return verdict
    slow = f"this machine was up to {max(ns for _, ns in late) / 1e6:.0f} ms late (measured)"
    if verdict.outcome != FAIL:
        return replace(verdict, why=f"{verdict.why}; {slow}") if verdict.judge == STAYS_UP else verdict
    sure = tuple(
        one for one in verdict.evidence if not any(at <= one.at <= at + ns + _UNSETTLED for at, ns in late)
    )  # fmt: skip
    if sure:
        return replace(verdict, why=sure[0].what, evidence=sure)
    return replace(verdict, outcome=INCONCLUSIVE, why=f"{slow} just before: {verdict.why}")


def _ended(run: ServedRun, seen: Watched) -> tuple[int, str] | None:
    """When a program ended before its case did, and how."""
    if seen.early is None:
        return None
    how = f"the controller ended with exit code {seen.code}"
    if seen.memory > run.memory:
        how = f"it took {seen.memory >> 20} MiB of memory (measured) and was ended; allowed {run.memory >> 20} MiB"
    return seen.early, f"{how}; last on standard error: {seen.words}" if seen.words else how

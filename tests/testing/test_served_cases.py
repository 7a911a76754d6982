"""One case for a program in wall time: failures of the program itself are seen and reported."""

from __future__ import annotations

import asyncio
import json
import os
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from fuzzed_halls import SECOND, boxed
from serving import wait_for

from busim.foundation.errors import UserError
from busim.runtime.bridge import Child
from busim.runtime.clocks import wall_loop
from busim.runtime.session import ChildProcess, Live
from busim.testing.fuzzing import STAYS_UP, Case, FaultEvent, Result, ServedRun
from busim.testing.fuzzing.served import unsure
from busim.testing.fuzzing.watching import used
from busim.testing.judge_catalogue import all_judges
from busim.testing.judging import FAIL, INCONCLUSIVE, PASS, Evidence, Verdict

HANGS = """
import socket, sys
line = socket.create_connection((sys.argv[1], int(sys.argv[2])))
open(__file__ + ".there", "w").close()
line.recv(1)
"""
FORKS = """
import os, time
for _ in range(20):
    if os.fork() == 0:
        time.sleep(60)
open(__file__ + ".pids", "w").write(open("/proc/self/task/%d/children" % os.getpid()).read())
open(__file__ + ".there", "w").close()
time.sleep(60)
"""


def served(folder: Path, program: str, *, case: Case | None = None) -> Result:
    path = folder / "control.py"
    path.write_text(program)
    words = (sys.executable, "-S", str(path), "{box.host}", "{box.port}")
    # Some end by themselves, and the case with them; others say when they have done it. A busy machine may be slow.
    waits = any(word in program for word in ("kept", "exit", ".there"))
    there = Path(f"{path}.there")
    return run(folder, *words)(
        case or Case(1, (60 if waits else 1) * SECOND), there.exists if case is None else lambda: False
    )


def run(folder: Path, *words: str) -> ServedRun:
    judges = (all_judges()["quiet-line"],)
    return ServedRun(boxed("at: 9000 s, down: 1 s"), judges, words, "desk", str(folder), memory=64 << 20)


@pytest.mark.parametrize(
    ("program", "outcome", "said"),
    [
        ("import sys\nsys.exit('no setup')", "fail", "ended with exit code 1; last on standard error: no setup"),
        ("import time\ntime.sleep(60)", "inconclusive", "the controller never connected"),
        (HANGS, "inconclusive", "the controller connected and sent no request"),
        ("import sys\nwhile True: print('again', file=sys.stderr)", "inconclusive", "never connected"),
        (
            "import time\nkept = []\nwhile True: kept.append(bytearray(1 << 22)), time.sleep(0.02)",
            "fail",
            "was ended; allowed 64 MiB",
        ),
    ],
    ids=["dies", "never connects", "hangs", "floods stderr", "eats memory"],
)
def test_a_program_that_does_not_work_is_told_of(program: str, outcome: str, said: str, tmp_path: Path) -> None:
    result = served(tmp_path, program)
    (verdict,) = [one for one in result.verdicts if one.judge == STAYS_UP]
    assert (verdict.outcome, said in verdict.why) == (outcome, True), verdict.why


def test_a_program_that_ignores_signals_is_killed_and_its_standard_error_is_kept_short(tmp_path: Path) -> None:
    there = tmp_path / "there"
    program = run(tmp_path, "sh", "-c", f"trap '' TERM; : > '{there}'; exec sleep 60")
    seen = program(Case(1, SECOND)).watched
    while not there.exists():  # a machine that stood still did not let it begin in time
        seen = program(Case(1, SECOND)).watched
    assert seen is not None
    assert seen.killed
    assert seen.code == 128 + 9  # SIGKILL, as a shell counts


def test_nothing_is_left_of_a_program_that_forks(tmp_path: Path) -> None:
    """proc(5): children of a thread; one that is gone, or that nobody has waited for yet, has no command line."""
    served(tmp_path, FORKS)
    children = (tmp_path / "control.py.pids").read_text().split()
    assert len(children) == 20

    def alive() -> list[str]:
        commands = [Path(f"/proc/{one}/cmdline") for one in children]
        return [one.read_text() for one in commands if one.exists() and "control.py" in one.read_text()]

    wait_for(lambda: not alive())


@pytest.mark.parametrize(
    ("words", "said"), [(("no-such-program-here",), "the command cannot be run"), (("cat", "{shed.port}"), "shed")]
)
def test_a_command_that_cannot_be_run_is_a_mistake_of_the_user(
    words: tuple[str, ...], said: str, tmp_path: Path
) -> None:
    with pytest.raises(UserError, match=said):
        run(tmp_path, *words)(Case(1, SECOND))
    assert list(tmp_path.iterdir()) == []


def test_a_fault_that_cannot_be_made_is_counted_and_the_case_goes_on(tmp_path: Path) -> None:
    twice = FaultEvent("late-reply", "nobody", SECOND // 2, SECOND)
    result = served(tmp_path, HANGS, case=Case(1, SECOND, (twice,)))
    assert result.watched is not None
    assert [one.split(":")[0] for one in result.watched.skipped] == ["late-reply"]


def test_only_what_happened_just_after_a_late_event_is_put_down_to_this_machine() -> None:
    """An event due at 3 s came 150 ms late; what is seen until 5.15 s may follow from it."""
    late = [(3 * SECOND, SECOND * 3 // 20)]
    seen = tuple(Evidence(at * SECOND, f"at {at} s") for at in (3, 5))
    failed = Verdict("quiet-line", FAIL, "at 3 s", 9, 2, 1, seen)
    both = unsure(failed, late)
    assert (both.outcome, "up to 150 ms late (measured)" in both.why) == (INCONCLUSIVE, True), both.why
    one = unsure(replace(failed, evidence=(*seen, Evidence(6 * SECOND, "at 6 s"))), late)
    assert (one.outcome, one.why, len(one.evidence)) == (FAIL, "at 6 s", 1)
    assert unsure(failed, []) == failed
    assert unsure(replace(failed, outcome=PASS), late).outcome == PASS


def test_a_program_that_had_no_time_to_connect_is_told_of_with_how_late_the_machine_was() -> None:
    never = Verdict(STAYS_UP, INCONCLUSIVE, "the controller never connected", 0)
    late = [(0, 3 * SECOND)]
    assert unsure(never, late).why == "the controller never connected; this machine was up to 3000 ms late (measured)"
    assert unsure(never, []) == never


def test_a_move_made_while_the_program_starts_reaches_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A campaign on a busy machine: starting took seconds, and the moves of that time were lost."""
    start = Child.start

    async def ran() -> int:
        async with Live(boxed("at: 9000 s, down: 1 s"), 1, intents=True, any_port=True) as live:

            async def slow(child: Child) -> None:
                live.intend("c1", "iris", 321)
                await start(child)

            monkeypatch.setattr(Child, "start", slow)
            words = ("sh", "-c", f"head -n 1 > {tmp_path}/got")
            return await ChildProcess(live, words, hook=True, news=lambda _: None).run()

    with asyncio.Runner(loop_factory=wall_loop) as runner:
        assert runner.run(ran()) == 0
    assert json.loads((tmp_path / "got").read_text())["value"] == 321


def test_the_wait_of_a_program_for_a_processor_is_measured_by_thread() -> None:
    memory, _, waited = used(os.getpgid(0))
    assert memory > 1 << 20
    assert waited[os.getpid()] >= 0

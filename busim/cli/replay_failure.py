"""`busim replay FAILURE`: a failure that `busim fuzz` saved, once more against the same controller."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

import typer

from busim.cli.fuzz import asyncio_run, make_of
from busim.cli.fuzz_screen import faults_of
from busim.cli.screen import Screen, counted
from busim.foundation.errors import UserError
from busim.foundation.version import VERSION
from busim.testing.fuzzing import STAYS_UP, AnyRun, Link, PureRun, Saved, ServedRun, load
from busim.testing.judge_catalogue import all_judges
from busim.testing.judging import FAIL, Evidence, Verdict


def replay_failure(path: str, times: int, *, as_json: bool) -> None:
    """Run it again and show the verdicts; exit code 1 if it fails again. In virtual time one run is enough."""
    saved = load(Path(path))
    if saved.test is not None:
        _replay_test(saved, *saved.test, as_json=as_json)
        return
    judge = all_judges().get(saved.judge)
    if judge is None and saved.judge != STAYS_UP:
        raise UserError(
            "this version of busim has no such judge", file=path, found=repr(saved.judge[:60]),
            expected=", ".join(all_judges()), mend=f"replay it with busim {saved.version}",
        )  # fmt: skip
    judges = () if judge is None else (judge,)
    with tempfile.TemporaryDirectory(prefix="busim-replay-") as folder:
        run: AnyRun
        if saved.command:
            run = ServedRun(saved.plan, judges, saved.command, saved.master, folder, saved.hooked)
            count = times
        elif saved.function is not None:
            run, count = asyncio_run(saved.plan, *saved.function, saved.master, judges), 1
        else:
            run, count = PureRun(saved.plan, judges, make_of(saved.make or "good"), link=Link), 1
        verdicts = [next(one for one in run(saved.case).verdicts if one.judge == saved.judge) for _ in range(count)]
    failed = [one for one in verdicts if one.outcome == FAIL]
    if as_json:
        print(json.dumps(
            {"schema": 1, "judge": saved.judge, "runs": count, "reproduced": len(failed),
             "case": saved.case.as_json(), "verdicts": [one.as_json() for one in verdicts]}, indent=2,
        ))  # fmt: skip
    else:
        _show(Screen(), saved, verdicts, failed)
    if failed:
        raise typer.Exit(1)


def _replay_test(saved: Saved, file: str, name: str, *, as_json: bool) -> None:
    """A case of a fuzz test, in virtual time: once is enough."""
    from busim.testing.worlds.fuzzed import run_saved

    wrong = run_saved(file, name, saved.plan, saved.case)
    if as_json:
        print(json.dumps(
            {"schema": 1, "test": name, "runs": 1, "reproduced": int(bool(wrong)), "case": saved.case.as_json(),
             "why": wrong}, indent=2,
        ))  # fmt: skip
    else:
        screen = Screen()
        screen.say(f"{name}: reproduced {int(bool(wrong))} of 1 run.", "bold")
        screen.say(f"with {faults_of(saved.case)}", hang=2)
        print(wrong)
    if wrong:
        raise typer.Exit(1)


def _show(screen: Screen, saved: Saved, verdicts: list[Verdict], failed: list[Verdict]) -> None:
    screen.say(f"{saved.judge}: reproduced {len(failed)} of {counted(len(verdicts), 'run')}.", "bold")
    screen.say(f"with {faults_of(saved.case)}", hang=2)
    shown = (failed or verdicts)[0]
    screen.say(f"{shown.outcome}: {shown.why}", hang=2)
    for one in shown.evidence[:2]:
        _show_evidence(screen, one)
    if saved.version != VERSION:
        screen.say(f"note: busim {saved.version} saved it; this is {VERSION}.")
    if not failed and saved.command:
        screen.say("A program in wall time may behave differently each time: try more runs with --times.")


def _show_evidence(screen: Screen, one: Evidence) -> None:
    screen.blank()
    screen.say(f"{one.at / 1e9:.6f} s: {one.what}", hang=2)
    if one.fault:
        screen.say(f"last fault: {one.fault}", indent=2, hang=2)
    for frame in one.frames[-4:]:
        screen.say(f"{frame.start / 1e9:.6f} s  {frame.driver}: {frame.data}  {frame.meaning}", indent=2, hang=2)

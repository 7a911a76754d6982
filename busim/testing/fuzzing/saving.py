"""A failure as two files: the case as text that a person can read and edit, and the trace of its run.

The text is JSON with the plan in it, so it needs nothing else to run again.
"""

from __future__ import annotations

import contextlib
import json
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from busim.foundation.errors import UserError
from busim.foundation.version import VERSION
from busim.foundation.yaml_source import flow
from busim.plan import Plan, read_text
from busim.recording.trace import TraceWriter
from busim.recording.trace.batches import Batch
from busim.runtime.session.heads import head
from busim.simulator.faults import all_faults
from busim.testing.fuzzing.campaign import Failure
from busim.testing.fuzzing.case import Case, case_of
from busim.testing.fuzzing.pure import Result
from busim.testing.fuzzing.saved_form import check_against_plan, read_form
from busim.testing.fuzzing.served import ServedRun
from busim.testing.fuzzing.virtual import VirtualRun
from busim.testing.fuzzing.workers import AnyRun

FORMAT = 2


@dataclass(frozen=True, slots=True)
class Saved:
    """A failure that was saved: the judge that failed and why, the plan and the case; `version` of busim.

    What was tested: `command`, the words of a program, whose part `master` of the plan is; or `function`, the file of
    an asyncio controller and its name in it; or `test`, a test file and a fuzz test in it; or else the master that
    busim has under the name `make`. `hooked`: the program reads moves and tells beliefs.
    """

    judge: str
    why: str
    plan: Plan
    case: Case
    version: str
    command: tuple[str, ...] = ()
    master: str = ""
    make: str = ""
    hooked: bool = False
    function: tuple[str, str] | None = None
    test: tuple[str, str] | None = None


def save(folder: Path, run: AnyRun, failure: Failure, *, make: str = "") -> Path:
    """Write `JUDGE.json` and `JUDGE.busim` (the trace) into a folder. `make`: the name of the master that was tested.

    Raises UserError where that cannot be done."""
    path = folder / f"{failure.judge}.json"
    plan = run.plan
    about = {"judge": failure.judge, "why": failure.verdict.why, "verdict": failure.verdict.as_json()}
    _write_case(path, plan, failure.case, about | {"tested": _tested(run, make)})
    if isinstance(run, ServedRun):
        with contextlib.suppress(FileNotFoundError):  # broken off before there was one
            shutil.copyfile(failure.trace, path.with_suffix(".busim"))
        return path
    if isinstance(run, VirtualRun):
        run.traced(failure.case, str(path.with_suffix(".busim")))
        return path
    _write_trace(path.with_suffix(".busim"), plan, failure.case, run.kept(failure.case))
    return path


def save_test(folder: Path, file: str, name: str, plan: Plan, case: Case, why: str) -> Path:
    """Write `NAME.json`: the case in which the test `name` of a test file fails. Raises UserError as `save` does."""
    path = folder / f"{name}.json"
    _write_case(path, plan, case, {"judge": "", "why": why, "tested": {"test": [file, name]}})
    return path


def _write_case(path: Path, plan: Plan, case: Case, about: dict[str, Any]) -> None:
    entry = {
        "busim-failure": FORMAT, "busim": VERSION, **about, **case.as_json(), "fragment": fragment(case),
        "plan": plan.source, "plan-path": plan.path, "plan-files": dict(plan.files),
    }  # fmt: skip
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(entry, indent=1) + "\n", encoding="utf-8")
    except OSError as error:
        raise UserError(
            "the failure cannot be saved",
            file=str(path),
            found=error.strerror or str(error),
            mend="choose another folder",
        ) from error


def _tested(run: AnyRun, make: str) -> dict[str, object]:
    if isinstance(run, ServedRun):
        return {"command": list(run.command), "master": run.master, "intents": run.hooked}
    if isinstance(run, VirtualRun):
        return {"function": [run.path, run.function], "master": run.master}
    return {"make": make}


def fragment(case: Case) -> str:
    """The faults of a case as written in a plan."""
    lines = ["faults:"]
    for one in case.faults:
        entry = {
            "fault": one.kind, "on": one.target, "at": f"{one.at // 1000} us", "for": f"{one.length // 1000} us",
        }  # fmt: skip
        lines.append("  - " + flow(entry | dict(one.parameters)))
    return "\n".join(lines) + "\n" if len(lines) > 1 else ""


def _write_trace(path: Path, plan: Plan, case: Case, result: Result) -> None:
    about = head(plan, clock="fast", seed=case.seed, speed=1.0, played=None, hooked=True, distinct=True)
    writer = TraceWriter(str(path), about, overwrite=True)
    names = [(one.row, one.kind, one.name, one.parent) for one in result.names]
    settings = [
        (one.row, str(one.baud), str(one.format), one.ppm, int(one.inverted), one.lead, one.hold)
        for one in result.settings
    ]
    try:
        writer.write(Batch(names, settings, list(result.records), [], case.length))
    finally:
        writer.close()


def load(path: Path) -> Saved:
    """A saved failure. Raises UserError for another file, or one of another form."""
    try:
        entry = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise UserError("this is not a saved failure", file=str(path), found=str(error)[:100]) from error
    version = entry.get("busim-failure") if isinstance(entry, dict) else None
    if version == 1:
        entry = _of_form_1(path, entry)
    elif version != FORMAT:
        raise UserError(
            "this is no saved failure of a form that is known here", file=str(path), found=repr(version)[:60],
            expected=str(FORMAT), mend="run it with the version of busim that saved it",
        )  # fmt: skip
    form = read_form(path, entry)
    plan = read_text(form.plan, form.path, form.files)
    case, tested = case_of(form.model_dump()), form.tested
    check_against_plan(path, plan, case, tested.master if tested.command or tested.function else "")
    return Saved(
        form.judge, form.why, plan, case, form.busim, tuple(tested.command), tested.master, tested.make, tested.intents,
        tested.function, tested.test,
    )  # fmt: skip


def _of_form_1(path: Path, entry: dict[str, Any]) -> dict[str, Any]:
    """A failure of form 1: its faults had an amount too, which those of the catalogue did not use. Raises UserError for
    faults that busim no longer has."""
    given = entry.get("faults")
    if not isinstance(given, list):
        return entry
    faults = []
    for one in given:
        if not isinstance(one, list) or len(one) != 6 or str(one[0]) not in all_faults():
            raise UserError(
                "this saved failure has a fault that busim no longer has", file=str(path),
                found=repr(one[0] if isinstance(one, list) and one else one)[:60], expected="a fault of the catalogue",
                mend="run the campaign again, and accept or mend what it saves now",
            )  # fmt: skip
        faults.append([*one[:4], one[5]])
    return entry | {"faults": faults}

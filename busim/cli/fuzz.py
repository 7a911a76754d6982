"""`busim fuzz`: a controller against an installation with faults, many times, and the judges' verdicts."""

from __future__ import annotations

import json
from contextlib import nullcontext
from typing import TYPE_CHECKING, Annotated, Optional

import typer

if TYPE_CHECKING:
    from busim.cli.fuzz_screen import Told
    from busim.plan import Plan
    from busim.simulator.masters import Master
    from busim.testing.fuzzing import AnyRun, ServedRun, VirtualRun, Workers
    from busim.testing.judging import Judge

NAME = "fuzz"
HELP = "Break an installation on purpose, and judge a controller."

_OF_THE_INSTALLATION = {"address-plan", "transparency"}  # judges that do not judge a controller
_SERVED, _PURE = 24, 200  # cases by default
_TRIES, _PURE_TRIES = 12, 60  # runs to reduce a failure, in wall time and in virtual time


def command(
    plan: Annotated[str, typer.Argument(help="The plan, a YAML file.")],
    controller: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="COMMAND", help="The program; {NAME.host} and {NAME.port}: those of converter NAME."),
    ] = None,
    master: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="NAME", help="Instead: `good`, or a broken master that busim has."),
    ] = None,
    function: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(
            "--asyncio", metavar="FILE:NAME", help="Instead: `async def NAME(hall)` in a Python file, in virtual time."
        ),
    ] = None,
    plays: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--as", metavar="MASTER", help="The master of the plan whose part it plays; else the first."),
    ] = None,
    cases: Annotated[Optional[int], typer.Option(min=1, help="How many; else 24, or 200 of a master.")] = None,  # noqa: UP045
    seed: Annotated[int, typer.Option(help="Seed of the draws.")] = 1,
    jobs: Annotated[int, typer.Option(min=1, max=64, help="Cases side by side.")] = 2,
    engine: Annotated[str, typer.Option(metavar="ENGINE", help="In virtual time: processes, or dask.")] = "processes",
    scheduler: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="ADDRESS", help="With --engine dask: address of the scheduler."),
    ] = None,
    length: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--for", help="Length of each case; else 10s, or 4 to 12 s of a master."),
    ] = None,
    fault: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option(metavar="FAULT", help="Draw this fault alone; may be given several times."),
    ] = None,
    intents: Annotated[
        bool, typer.Option("--intents", help="Operators' moves to its standard input, its beliefs from its output.")
    ] = False,
    memory: Annotated[int, typer.Option(min=1, help="MiB at which the program counts as failed.")] = 1024,
    tries: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option(min=0, help="Runs to make each failure small; else 12, or 60 of a master."),
    ] = None,
    save: Annotated[str, typer.Option(metavar="FOLDER", help="Where failures are saved.")] = "fuzz-failures",
    accepted: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="FILE", help="Failures that are known, each with a reason; YAML."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="The outcome as JSON on standard output.")] = False,
    junit: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="FILE", help="Write a test report for a build server, as JUnit XML."),
    ] = None,
) -> None:
    """Run the campaign and show it; exit code 1 with failures that are not accepted, 130 after Ctrl-C."""
    import tempfile
    from pathlib import Path

    from busim.cli import option_parsing
    from busim.cli.fuzz_screen import Told, as_dict, junit_xml, show
    from busim.cli.plan_file import read_usable
    from busim.cli.writing import write_whole
    from busim.foundation.errors import UserError
    from busim.runtime.sweep_workers import WorkerGone, cluster
    from busim.testing.fuzzing import Link, PureRun, Workers, read_accepted

    the_plan = read_usable(plan)
    known = () if accepted is None else read_accepted(Path(accepted))
    each = None if length is None else option_parsing.length(length)
    with tempfile.TemporaryDirectory(prefix="busim-fuzz-") as folder:
        if [controller, master, function].count(None) != 2:
            raise UserError(
                "one thing is tested at a time", expected="one of --controller, --asyncio and --master",
                mend="write for example --controller 'python3 control.py {box.host} {box.port}', or --master good",
            )  # fmt: skip
        run: AnyRun
        if controller is not None:
            run = _served(the_plan, controller, plays, folder, intents, memory)
        elif function is not None:
            path, _, name = function.rpartition(":")
            run = asyncio_run(the_plan, path, name, _part(the_plan, plays, "--asyncio"))
        else:
            run = PureRun(the_plan, _of_a_controller(), make_of(master or ""), link=Link)
        option_parsing.engine(engine, scheduler)
        if scheduler is not None and controller is not None:
            raise UserError(
                "a program runs on this machine", field="--engine", found=engine, expected="processes",
                mend="leave out --engine and --scheduler",
            )  # fmt: skip
        total = cases or (_PURE if controller is None else _SERVED)
        told = Told(run, total, seed, jobs, Path(save), known, master or "")
        over = nullcontext() if scheduler is None else cluster(scheduler)
        gone: WorkerGone | None = None
        with over as executor, Workers(run, jobs, told.saw, executor) as workers:
            try:
                _campaign(told, workers, each, fault, tries, intents)
            except (KeyboardInterrupt, WorkerGone) as error:
                gone = error if isinstance(error, WorkerGone) else None
                told.broken_off = gone is None
                for case, result in workers.unread():
                    told.campaign.keep(case, result)
            finally:  # whatever ended it: what was found is kept
                told.save()
    if junit is not None:
        write_whole(junit, junit_xml(told), "test report", known=lambda text: "<testsuite" in text[:200])
    if as_json:
        print(json.dumps(as_dict(told), indent=2))
    else:
        show(told)
    if gone is not None:
        raise gone
    if told.broken_off:
        raise typer.Exit(130)
    if told.new:
        raise typer.Exit(1)


def _served(plan: Plan, controller: str, plays: str | None, folder: str, intents: bool, memory: int) -> ServedRun:
    import shlex

    from busim.foundation.errors import UserError
    from busim.testing.fuzzing import ServedRun

    try:
        words = tuple(shlex.split(controller))
    except ValueError as error:
        raise UserError(
            "the command cannot be split into words", field="--controller", found=str(error),
            mend="close every quotation mark",
        ) from None  # fmt: skip
    if not words:
        raise UserError(
            "there is no command", field="--controller", expected="a program and its arguments",
            mend="write for example --controller 'python3 control.py {box.host} {box.port}'",
        )  # fmt: skip
    part = _part(plan, plays, "--controller")
    return ServedRun(plan, _of_a_controller(), words, part, folder, intents, memory << 20)


def _part(plan: Plan, plays: str | None, option: str) -> str:
    """The master of the plan whose part a controller plays. Raises UserError."""
    from busim.foundation.errors import UserError

    behind = [one.name for one in plan.masters if one.through]
    if not behind:
        raise UserError(
            "no master of this plan is behind a converter", field=option,
            expected="a master with `through`, whose part the controller plays",
            mend="add one to `masters`, with what it polls",
        )  # fmt: skip
    if plays is not None and plays not in behind:
        raise UserError(
            "there is no such master behind a converter", field="--as", found=repr(plays[:60]),
            expected=" or ".join(behind), mend="name one of these",
        )  # fmt: skip
    return plays or behind[0]


def _of_a_controller() -> tuple[type[Judge], ...]:
    from busim.testing.judge_catalogue import all_judges

    return tuple(judge for name, judge in all_judges().items() if name not in _OF_THE_INSTALLATION)


def asyncio_run(
    plan: Plan, path: str, name: str, part: str, judges: tuple[type[Judge], ...] | None = None
) -> VirtualRun:  # fmt: skip
    """An asyncio controller, as its file is now. Raises UserError where the file cannot be read."""
    from pathlib import Path

    from busim.foundation.errors import UserError
    from busim.testing.fuzzing import VirtualRun

    try:
        source = Path(path).read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        raise UserError(
            "the controller's file cannot be read", field="--asyncio", found=repr(f"{path}:{name}"[:100]),
            expected="a Python file and, behind a colon, the name of an async function in it",
            mend=f"write for example --asyncio control.py:controller ({getattr(error, 'strerror', None) or error})",
        ) from None  # fmt: skip
    return VirtualRun(plan, _of_a_controller() if judges is None else judges, path, name, source, part)


def make_of(name: str) -> type[Master]:
    """The master of this name that comes with busim. Raises UserError."""
    from busim.foundation.errors import UserError
    from busim.foundation.yaml_source import suggestion
    from busim.simulator.masters import Master
    from busim.testing.broken_masters import BROKEN

    if name == "good":
        return Master
    if name not in BROKEN:
        raise UserError(
            "busim has no such master", field="--master", found=repr(name[:60]),
            expected="good, " + ", ".join(BROKEN), mend=suggestion(name, BROKEN, "name one of these"),
        )  # fmt: skip
    return BROKEN[name].make


def _campaign(
    told: Told, workers: Workers, length: int | None, faults: list[str] | None, tries: int | None, intents: bool
) -> None:
    from dataclasses import replace

    from busim.testing.fuzzing import PureRun, ServedRun, fuzz, known_faults, space_of

    run = told.run
    if not isinstance(run, PureRun):
        space = space_of(run.plan, run.master, faults)
        space = replace(space, length=length or 10 * 10**9, steps=False)
        if not intents:
            space = replace(space, controls=())
        told.try_without_faults(workers, space.length)
    else:
        space = space_of(run.plan, kinds=faults)
        space = replace(space, length=length or 0)
    if tries is None:
        tries = _TRIES if isinstance(run, ServedRun) else _PURE_TRIES
    fuzz(
        workers.one, space, seed=told.seed, cases=told.cases, over=workers.several, campaign=told.campaign, tries=tries,
        known=known_faults(told.accepted),
    )  # fmt: skip

"""`busim run`: the installation in fast time, and its figures."""

from __future__ import annotations

import contextlib
import signal
import sys
from collections.abc import Callable, Iterator
from typing import Annotated, Optional

import typer

from busim.cli import options

NAME = "run"
HELP = "Simulate a plan: does each line work, how fast, what limits it."

_STEP = 250_000_000  # ns of simulated time between two checks of progress and Ctrl-C


def command(
    plan: options.Plan,
    length: Annotated[
        str, typer.Option("--for", metavar="TIME", help="How much simulated time, as 60s or 2h.")
    ] = "60s",
    seed: options.RunSeed = 1,
    detail: options.Detail = False,
    line: options.Line = None,
    as_json: options.FiguresAsJson = False,
    trace: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="FILE", help="Record the run into this file."),
    ] = None,
    overwrite: options.Overwrite = False,
    mark: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option(metavar="MARK", help="Set a mark, as '12s doors open'; repeatable."),
    ] = None,
) -> None:
    """Run and show."""
    from busim.cli import option_parsing
    from busim.cli.plan_file import read_usable
    from busim.cli.show import print_json, print_report, progress
    from busim.runtime.session import Run

    until = option_parsing.length(length)
    marks = option_parsing.marks(mark or (), until)
    planned = read_usable(plan)
    option_parsing.line([one.name for one in planned.lines], line)
    run = Run(planned, seed, trace=trace, overwrite=overwrite)
    for at, text in marks:
        run.world.kernel.at(at, run.world.mark, text)
    with _interrupt() as interrupted, progress(hidden=as_json) as advanced:
        for at in (*range(0, until, _STEP), until):
            run.advance(at)
            advanced(at, until)
            if interrupted():
                break
        run.finish()
    report = run.report()
    if as_json:
        print_json(report)
    else:
        from busim.analysis.budget import budget
        from busim.analysis.check import check
        from busim.cli.check_lines import summary

        found = check(planned)
        print_report(
            report,
            trace,
            detail=detail,
            line=line,
            budget=budget(planned),
            checked=summary(found),
            more="--detail, --line NAME",
        )
    if interrupted():
        print(f"Ended by Ctrl-C after {report.length / 1e9:g} s of {until / 1e9:g} s.", file=sys.stderr)
        raise typer.Exit(130)
    if report.missed:
        raise typer.Exit(1)


@contextlib.contextmanager
def _interrupt() -> Iterator[Callable[[], bool]]:
    """Ctrl-C is checked between events, since a half-finished event leaves a broken world; a second one kills."""
    came: list[int] = []

    def note(number: int, _: object) -> None:
        came.append(number)
        signal.signal(signal.SIGINT, signal.default_int_handler)

    before = signal.signal(signal.SIGINT, note)
    try:
        yield lambda: bool(came)
    finally:
        signal.signal(signal.SIGINT, before)

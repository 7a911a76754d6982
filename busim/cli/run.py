"""`busim run`: the installation in fast time, and what came of it."""

from __future__ import annotations

from typing import Annotated, Optional

import typer

NAME = "run"
HELP = "Run a plan in fast time, with every master of it played, and show the figures."


def command(
    plan: Annotated[str, typer.Argument(help="The plan, a YAML file.")],
    length: Annotated[str, typer.Option("--for", help="How much simulated time, as 60s or 2h.")] = "60s",
    seed: Annotated[int, typer.Option(help="Seed of everything random; the same seed gives the same run.")] = 1,
    as_json: Annotated[bool, typer.Option("--json", help="Figures as JSON on standard output.")] = False,
    trace: Annotated[Optional[str], typer.Option(help="Record the run into this file.")] = None,  # noqa: UP045
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a trace that is there already.")] = False,
    mark: Annotated[Optional[list[str]], typer.Option(help="Set a mark, as '12s doors open'; repeatable.")] = None,  # noqa: UP045
) -> None:
    """Run and show."""
    from busim.cli.show import print_json, print_report, progress
    from busim.plan import read
    from busim.session import Run, parse_mark
    from busim.units import parse_time

    until = parse_time(length)
    marks = sorted(parse_mark(text) for text in mark or ())
    run = Run(read(plan), seed, trace=trace, overwrite=overwrite)
    ended_early = False
    try:
        with progress(hidden=as_json) as advanced:
            for at, text in marks:
                run.world.kernel.at(at, run.world.mark, text)
            for at in range(0, until, 250_000_000):
                run.advance(at)
                advanced(at, until)
            run.advance(until)
    except KeyboardInterrupt:
        ended_early = True
    run.finish()
    report = run.report()
    if as_json:
        print_json(report)
    else:
        print_report(report, trace)
    if ended_early:
        raise KeyboardInterrupt

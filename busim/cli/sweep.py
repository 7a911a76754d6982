"""`busim sweep`: a plan with some of its values varied, computed or simulated at every point."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from busim.cli import options

if TYPE_CHECKING:
    from busim.experiments.sweep import Axis, Sweep
    from busim.plan import Plan

NAME = "sweep"
HELP = "Vary values of a plan: which points reach what is wanted."


def command(
    plan: options.Plan,
    vary: Annotated[
        list[str],
        typer.Option(metavar="AXIS", help="What to vary, as line.baud=9600,19200 or cameras=1..32; repeatable."),
    ],
    figure: Annotated[str, typer.Option(metavar="NAME", help="The figure to show and to map.")] = "camera_rate",
    detail: Annotated[bool, typer.Option("--detail", help="Show every point, and the assumptions.")] = False,
    line: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="NAME", help="Vary and show this line alone."),
    ] = None,
    need: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="RATE", help="The poll rate each camera needs, of its values polled most, as 10Hz."),
    ] = None,
    simulate: Annotated[bool, typer.Option("--simulate", help="Simulate every point instead of computing it.")] = False,
    seeds: Annotated[int, typer.Option(metavar="N", help="With --simulate: runs of each point.")] = 5,
    length: Annotated[
        str, typer.Option("--for", metavar="TIME", help="With --simulate: simulated time of each run.")
    ] = "60s",
    engine: Annotated[str, typer.Option(metavar="ENGINE", help="With --simulate: processes, or dask.")] = "processes",
    scheduler: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="ADDRESS", help="With --engine dask: address of the scheduler."),
    ] = None,
    jobs: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option("--jobs", metavar="N", min=1, max=1024, help="How many work at once. Default: one per core."),
    ] = None,
    out: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--out", "-o", metavar="FILE", help="Write all points here, .csv or .parquet."),
    ] = None,
    heat: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--map", metavar="FILE", help="Draw a map of two axes for each line here, .svg."),
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a file that is no sweep or map.")] = False,
) -> None:
    """Sweep, write, draw and show."""
    from busim.cli import option_parsing
    from busim.cli.plan_file import read_usable
    from busim.cli.sweep_output import is_map, print_sweep, writer
    from busim.cli.writing import check_target, write_whole
    from busim.experiments.sweep import FIGURES, ONE_BY_ONE, compute, parse_axis
    from busim.foundation.errors import UserError

    if figure not in FIGURES:
        raise UserError("no such figure", found=repr(figure), expected=", ".join(FIGURES), mend="give one of them")
    write = None if out is None else writer(out, plan, overwrite=overwrite)
    if heat is not None:
        from busim.experiments.plots import sweep_map, to_svg, two_axes

        check_target(heat, "map", overwrite=overwrite, known=is_map, inputs=[plan])
        two_axes(len(vary))
    axes = [parse_axis(text) for text in vary]
    rate = None if need is None else option_parsing.rate(need)
    installation = read_usable(plan)
    if simulate:
        swept = _simulated(installation, axes, line, rate, seeds, length, engine, scheduler, jobs, out)
    else:
        wanted = [figure] if figure in ONE_BY_ONE else []
        swept = compute(installation, axes, line=line, need=rate, figures=wanted)
    if write is not None and out is not None:
        write(swept)
        _journal(out).unlink(missing_ok=True)
    if heat is not None:
        write_whole(heat, to_svg(sweep_map(swept, figure, line)), "map")
    print_sweep(swept, figure, [path for path in (out, heat) if path is not None], detail=detail)


def _journal(out: str) -> Path:
    return Path(f"{out}.journal")


def _simulated(
    plan: Plan, axes: list[Axis], line: str | None, need: float | None, seeds: int, length: str, engine: str,
    scheduler: str | None, jobs: int | None, out: str | None,
) -> Sweep:  # fmt: skip
    import os

    from busim.cli import option_parsing
    from busim.cli.show import progress
    from busim.foundation.errors import UserError
    from busim.foundation.units import parse_time
    from busim.runtime.sweep_workers import cluster, processes, simulated_sweep

    until = parse_time(length)
    if seeds < 1 or not until:
        raise UserError(
            "nothing to simulate", found=f"--seeds {seeds} --for {length}", expected="1 or more, and more than 0",
            mend="say for example --seeds 5 --for 60s",
        )  # fmt: skip
    option_parsing.engine(engine, scheduler)
    count = jobs or os.cpu_count() or 1
    made = cluster(scheduler) if scheduler is not None else processes(count)
    journal = None if out is None else _journal(out)
    try:
        with progress(hidden=False) as advanced, made as executor:
            return simulated_sweep(
                plan, axes, executor, workers=count, seeds=seeds, length=until, line=line, need=need, journal=journal,
                advanced=advanced,
            )  # fmt: skip
    except KeyboardInterrupt:
        if journal is not None:
            typer.echo(f"Ended early. What is done stands in {journal}; the same command goes on from there.", err=True)
        raise

"""Arguments and options that several commands have: each with one wording, for `--help`."""

from __future__ import annotations

from typing import Annotated, Optional

import typer

Plan = Annotated[str, typer.Argument(metavar="PLAN", help="The plan, a YAML file.")]
Seed = Annotated[int, typer.Option(metavar="N", help="Seed of everything random.")]
RunSeed = Annotated[int, typer.Option(metavar="N", help="Seed of everything random; same seed, same run.")]
Trace = Annotated[Optional[str], typer.Option(metavar="FILE", help="Record the session into this file.")]  # noqa: UP045
Overwrite = Annotated[bool, typer.Option("--overwrite", help="Replace a trace that is there already.")]
Detail = Annotated[bool, typer.Option("--detail", help="Show the figures of every camera too.")]
Line = Annotated[
    Optional[str],  # noqa: UP045
    typer.Option(metavar="NAME", help="Show the figures of the cameras of this line too."),
]
AllAsJson = Annotated[bool, typer.Option("--json", help="All of it as JSON on standard output.")]
FiguresAsJson = Annotated[bool, typer.Option("--json", help="Figures as JSON on standard output.")]
Speed = Annotated[float, typer.Option(help="Simulated time per wall time, 0.1 to 10.")]
Play = Annotated[
    Optional[list[str]],  # noqa: UP045
    typer.Option(metavar="MASTER", help="Play this master too, though it is behind converters."),
]
Pty = Annotated[
    Optional[str],  # noqa: UP045
    typer.Option(metavar="FOLDER", help="Also a serial port (pseudo-terminal) for each, linked here; Linux."),
]

"""`busim export`: a trace for other people's tools."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

NAME = "export"
HELP = "Write a trace for other tools: vcd (levels) or pcapng (frames)."


def command(
    trace: Annotated[str, typer.Argument(metavar="TRACE", help="The trace.")],
    to: Annotated[str, typer.Option("--to", metavar="FORMAT", help="vcd or pcapng.")],
    output: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--output", "-o", metavar="FILE", help="The file to write; else beside the trace."),
    ] = None,
    line: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="NAME", help="This line alone; else all of them."),
    ] = None,
    at: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--at", metavar="STATION", help="As it is at this station; else at the line's converter."),
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a file that is there already.")] = False,
) -> None:
    """Write, and print a command that opens the file."""
    from busim.cli.screen import Screen
    from busim.foundation.errors import UserError
    from busim.recording.exports import FORMATS
    from busim.recording.trace import open_trace

    if to not in FORMATS:
        raise UserError(
            "there is no such format",
            field="--to",
            found=repr(to[:60]),
            expected=" or ".join(FORMATS),
            mend="name one of these",
        )
    format = FORMATS[to]
    path = Path(trace).with_suffix(format.suffix) if output is None else Path(output)
    with open_trace(trace) as opened:
        if path.exists() and path.samefile(trace):
            raise UserError(
                "a trace cannot be exported into itself", file=trace, mend="give another file with --output"
            )
        format.write(opened, path, line, at=at, overwrite=overwrite)
        screen = Screen()
        screen.say(f"Wrote {path}. To read it, for example:")
        screen.command(format.command(opened, path, line, at))

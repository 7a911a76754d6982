"""`busim plan from`: a first plan from what a capture of a line shows."""

from __future__ import annotations

import shlex
import sys
from typing import TYPE_CHECKING, Annotated, Optional

import typer

if TYPE_CHECKING:
    from busim.onsite.as_built import Shown
    from busim.onsite.listening import Survey

NAME = "from"
HELP = "Draft a plan from a trace or capture of a real line."


def command(
    source: Annotated[str, typer.Argument(metavar="CAPTURE", help="A trace, pcapng, pcap or CSV.")],
    output: Annotated[str, typer.Option("--output", "-o", metavar="PLAN", help="The plan to write.")],
    line: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="NAME", help="The line of a trace that has several."),
    ] = None,
    protocol: Annotated[
        str, typer.Option(metavar="NAME", help="The protocol of the line; `busim listen --guess` finds it.")
    ] = "modbus-rtu",
    port: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option(metavar="PORT", help="The port of the converter, in a capture of a network."),
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a plan that is there.")] = False,
) -> None:
    """Overhear the capture, and write the plan."""
    from busim.cli.screen import Screen
    from busim.cli.writing import check_target, write_whole
    from busim.onsite.as_built import draft

    check_target(output, "plan", overwrite=overwrite, inputs=[source])
    survey, seen = overheard(source, protocol, line, port)
    write_whole(output, draft(survey, seen), "plan")
    screen = Screen()
    screen.say(f"Wrote {output}: what the capture shows, with what it cannot show marked as assumed. Judge it now:")
    screen.command(f"busim check {shlex.quote(output)}")


def overheard(source: str, protocol: str, line: str | None, port: int | None) -> tuple[Survey, Shown]:
    """The survey of a capture, and what it says of its line. Raises UserError."""
    from busim.onsite.as_built import Shown, shown
    from busim.onsite.captures import open_capture
    from busim.onsite.listening import Survey
    from busim.protocols import find
    from busim.recording.trace import open_trace

    survey = Survey(find(protocol))
    with open_capture(source, port=port, line=line) as capture:
        form = capture.form
        survey.take(capture)
        for note in capture.notes:
            print(f"note: {note}", file=sys.stderr)
    survey.end()
    if form != "trace":
        return survey, Shown(source, line or "line")
    with open_trace(source) as trace:
        return survey, shown(trace, line)

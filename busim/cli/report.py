"""`busim report`: the story of a run as one file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from pathlib import Path

NAME = "report"
HELP = "Write one HTML file on a trace: measured, expected, the worst."


def command(
    source: Annotated[
        str,
        typer.Argument(metavar="TRACE", help="A trace; or JSON that `busim rehearse` or `busim fuzz` wrote."),
    ],
    output: Annotated[str, typer.Option("--output", "-o", metavar="FILE", help="The HTML file to write.")],
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a file that is no report.")] = False,
) -> None:
    """Write, and say what was written."""
    from pathlib import Path

    from busim.cli.screen import Screen
    from busim.cli.writing import check_target, write_whole
    from busim.web.report import is_report, report, told_report

    check_target(output, "report", overwrite=overwrite, known=is_report, inputs=[source])
    if source.endswith(".json"):
        text = told_report(_text(Path(source)), source, paper=paper)
    else:
        text = report(source, paper=paper)
    write_whole(output, text, "report")
    Screen().say(f"Wrote {output}, {len(text.encode()) / 1000:.0f} kB. Open it in a browser, or print it.")


def _text(path: Path) -> str:
    from busim.foundation.errors import UserError

    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise UserError(
            "the file cannot be read", file=str(path), found=getattr(error, "strerror", None) or "no text",
            mend="check the path",
        ) from None  # fmt: skip

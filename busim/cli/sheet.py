"""`busim sheet`: a plan as a run sheet and labels for printing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Optional

import typer

if TYPE_CHECKING:
    from busim.sheet import Document

NAME = "sheet"
HELP = "Write a plan as a run sheet for printing: wiring, settings, bill of material, steps to tick, labels."


def command(
    plan: Annotated[str, typer.Argument(metavar="PLAN", help="The plan, a YAML file.")],
    output: Annotated[str, typer.Option("--output", "-o", metavar="FILE", help="The HTML file to write.")],
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    only: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option(metavar="PART", help="Only this part, or several: summary, lines, settings, bill, steps, labels."),
    ] = None,
    date: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="TEXT", help="The date to print; else today's."),
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a file that is no sheet.")] = False,
) -> None:
    """Write, and say what was written. A plan with errors is written too, with the errors on top."""
    from busim import __version__
    from busim.plan import read
    from busim.sheet import PARTS, html, sheet

    document = sheet(read(plan), version=__version__, date=_today() if date is None else date)
    text = html(document, paper=paper, parts=only or PARTS)
    _write(output, text, overwrite)
    _say(document, output)


def _today() -> str:
    from datetime import date

    return date.today().isoformat()


def _write(name: str, text: str, overwrite: bool) -> None:
    """The file, made or made anew. Raises UserError where it cannot be written, or is something else than a sheet."""
    from pathlib import Path

    from busim.errors import UserError
    from busim.sheet import is_sheet

    file = Path(name)
    try:
        if file.is_file() and not overwrite and not is_sheet(file.read_text(encoding="utf-8", errors="replace")):
            raise UserError(
                "a file is there already, and it is no sheet", file=name,
                mend="choose another name, or say --overwrite",
            )  # fmt: skip
        file.write_text(text, encoding="utf-8")
    except OSError as error:
        raise UserError(
            "the sheet cannot be written", file=name, found=error.strerror or str(error), mend="choose another place"
        ) from None


def _say(document: Document, name: str) -> None:
    import sys

    print(
        f"Wrote {name}: {document.name}, plan {document.digest}, {len(document.lines)} lines, "
        f"{len(document.tasks)} steps, {len(document.labels)} labels. Open it in a browser and print it."
    )
    if not document.tasks and document.tasks_note:
        print(document.tasks_note, file=sys.stderr)
    errors = len(document.checks.of("error"))
    if errors:
        print(
            f"Caution: this plan has {errors} error{'' if errors == 1 else 's'}; they stand on the first page. "
            f"Mend them before anybody builds from it: busim check {document.path}",
            file=sys.stderr,
        )

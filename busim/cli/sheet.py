"""`busim sheet`: a plan as a run sheet and labels for printing."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from busim.cli import options

if TYPE_CHECKING:
    from busim.commissioning.sheet import Document
    from busim.commissioning.site_record import SiteRecord

NAME = "sheet"
HELP = "Write the run sheet for printing: wiring, steps, labels."


def command(
    plan: options.Plan,
    output: Annotated[str, typer.Option("--output", "-o", metavar="FILE", help="The HTML file to write.")],
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    only: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option(
            metavar="PART", help="Only this part: summary, lines, settings, bill, steps, record, silent, labels."
        ),
    ] = None,
    date: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="TEXT", help="The date to print; else today's."),
    ] = None,
    revision: Annotated[str, typer.Option(metavar="TEXT", help="The revision to print on every page.")] = "",
    author: Annotated[str, typer.Option(metavar="TEXT", help="The author to print on every page.")] = "",
    since: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="OLD", help="The plan of the last print: what changed comes first."),
    ] = None,
    record: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option(metavar="FILE", help="Print this record of busim rehearse --port too."),
    ] = None,
    label_sheet: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="NAME", help="Pre-cut labels: a4-3x8, a4-3x7 or letter-3x10."),
    ] = None,
    no_rehearsal: Annotated[bool, typer.Option("--no-rehearsal", help="Print the steps without trying them.")] = False,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a file that is no sheet.")] = False,
) -> None:
    """Write, and report it. A plan with errors is written too, with the errors on top."""
    from busim.cli.writing import check_target, write_whole
    from busim.commissioning.sheet import PARTS, html, is_sheet, sheet
    from busim.foundation.version import VERSION
    from busim.plan import read

    check_target(
        output,
        "sheet",
        overwrite=overwrite,
        known=is_sheet,
        inputs=[plan, *([since] if since else []), *(record or [])],
    )
    document = sheet(
        read(plan),
        version=VERSION,
        date=_today() if date is None else date,
        revision=revision,
        author=author,
        rehearsed=not no_rehearsal and (not only or "steps" in only),
        since=None if since is None else read(since),
        records=[_record(one) for one in record or []],
    )
    text = html(document, paper=paper, parts=only or PARTS, label_sheet=label_sheet)
    write_whole(output, text, "sheet")
    _say(document, output)


def _record(path: str) -> SiteRecord:
    from busim.onsite.rehearsing import load_record

    return load_record(path)


def _today() -> str:
    from datetime import date

    return date.today().isoformat()


def _say(document: Document, name: str) -> None:
    from busim.cli.screen import Screen, counted

    parts = (len(document.lines), "line"), (len(document.tasks), "step"), (len(document.labels), "label")
    Screen().say(
        f"Wrote {name}: {document.name}, plan {document.digest}, {', '.join(counted(*one) for one in parts)}. "
        "Open it in a browser and print it."
    )
    if not document.tasks and document.tasks_note:
        Screen(sys.stderr).say(document.tasks_note)
    errors = len(document.checks.of("error"))
    if errors:
        Screen(sys.stderr).say(
            f"Caution: this plan has {counted(errors, 'error')}, as its first page says. "
            f"Mend it before you build from it: busim check {document.path}"
        )

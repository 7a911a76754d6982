"""`busim plan import`: a plan from spreadsheets, or values from spreadsheets into a plan."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer

if TYPE_CHECKING:
    from busim.commissioning.spreadsheets import Table

NAME = "import"
HELP = "Read a plan from spreadsheets; bad cells by name."
_MOST_BYTES = 50 * 2**20


def command(
    files: Annotated[
        list[str], typer.Argument(metavar="FILE...", help="An .xlsx file, or .csv files named as tables.")
    ],
    output: Annotated[str, typer.Option("--output", "-o", metavar="PLAN", help="The plan to write.")],
    into: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="PLAN", help="Change the entries of this plan instead of making a new one."),
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a plan that is there.")] = False,
) -> None:
    """Read, judge every cell, and write the plan."""
    from busim.cli.screen import Screen
    from busim.cli.writing import check_target, write_whole
    from busim.commissioning.spreadsheets import merged, plan_text
    from busim.plan import read

    same = into is not None and Path(into).resolve() == Path(output).resolve()
    check_target(output, "plan", overwrite=overwrite or same, inputs=files)
    tables = [table for file in files for table in _tables(file)]
    done = merged(read(into), tables) if into is not None else plan_text(tables, Path(files[0]).stem, output)
    write_whole(output, done.text, "plan")
    screen = Screen()
    for text in done.told:
        screen.say(text)
    screen.say(f"Wrote {output}. Judge it now:")
    screen.command(f"busim check {shlex.quote(output)}")


def _tables(file: str) -> list[Table]:
    from busim.commissioning.spreadsheets import read_book, read_csv
    from busim.foundation.errors import UserError

    path = Path(file)
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise UserError(
                "this file is too large", file=file, found=f"{path.stat().st_size // 2**20} MB",
                expected=f"at most {_MOST_BYTES // 2**20} MB", mend="keep only the tables of the installation",
            )  # fmt: skip
        data = path.read_bytes()
    except OSError as error:
        raise UserError("the file cannot be read", file=file, found=error.strerror, mend="check its name") from None
    if path.suffix.lower() == ".xlsx":
        return list(read_book(data, file))
    if path.suffix.lower() == ".csv":
        return [read_csv(data, path.stem, file)]
    raise UserError(
        "no known kind of spreadsheet", file=file, found=repr(path.suffix), expected=".xlsx or .csv",
        mend="save it as one of these from the spreadsheet program",
    )  # fmt: skip

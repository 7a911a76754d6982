"""`busim plan export`: a plan as a workbook, or as CSV files with a page of text for each converter."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from busim.cli import options

NAME = "export"
HELP = "Write a plan as spreadsheets: XLSX, or CSV and text pages."


def command(
    plan: options.Plan,
    output: Annotated[
        str,
        typer.Option("--output", "-o", metavar="FILE", help="An .xlsx file, or a folder for CSV files and text pages."),
    ],
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace files that are there.")] = False,
) -> None:
    """Write, and say what was written."""
    from busim.cli.screen import Screen
    from busim.cli.writing import check_target, write_whole
    from busim.commissioning.spreadsheets import is_book, pages_of, tables_of, write_book, write_csv
    from busim.foundation.errors import UserError
    from busim.plan import read

    installation, screen = read(plan), Screen()
    tables = tables_of(installation)
    if output.lower().endswith(".xlsx"):
        check_target(output, "workbook", overwrite=overwrite, known=is_book, inputs=[plan])
        write_whole(output, write_book(tables), "workbook")
        screen.say(f"Wrote {output}: {', '.join(table.name for table in tables)}.")
    else:
        folder = Path(output)
        if folder.suffix or folder.is_file():
            raise UserError(
                "no such kind of spreadsheet", found=repr(output), expected="a name ending in .xlsx, or a folder",
                mend="busim plan export PLAN -o hall.xlsx",
            )  # fmt: skip
        files = {f"{table.name}.csv": write_csv(table) for table in tables}
        files |= {f"converter {_plain(name)}.txt": text for name, text in pages_of(installation).items()}
        folder.mkdir(parents=True, exist_ok=True)
        for name in files:
            check_target(str(folder / name), "table", overwrite=overwrite, inputs=[plan])
        for name, text in files.items():
            write_whole(str(folder / name), text, "table")
        screen.say(f"Wrote {len(files)} files into {output}: {', '.join(files)}.")
    screen.say("Comments of the plan are not in a table. Back again: busim plan import.")


def _plain(name: str) -> str:
    """A name that every file system takes."""
    return "".join(one if one.isalnum() or one in " -_" else "_" for one in name)[:80]

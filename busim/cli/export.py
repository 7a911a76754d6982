"""`busim export`: a trace for other people's tools."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer

if TYPE_CHECKING:
    from busim.cli.screen import Screen
    from busim.recording.exports import Table
    from busim.recording.trace import Trace

NAME = "export"
HELP = "Write a trace for other tools: VCD, pcapng, CSV, Parquet."

_FIGURES = "figures"


def command(
    trace: Annotated[str, typer.Argument(metavar="TRACE", help="The trace.")],
    to: Annotated[str, typer.Option("--to", metavar="FORMAT", help="vcd, pcapng, csv or parquet.")],
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
    table: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="NAME", help="For csv and parquet: exchange, burst, another table, or figures."),
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a file that is there already.")] = False,
) -> None:
    """Write, and print a command that opens the file."""
    from busim.cli.screen import Screen
    from busim.foundation.errors import UserError
    from busim.recording.exports import FORMATS, TABLE_FORMATS
    from busim.recording.trace import open_trace

    if to not in FORMATS and to not in TABLE_FORMATS:
        raise UserError(
            "there is no such format",
            field="--to",
            found=repr(to[:60]),
            expected=" or ".join((*FORMATS, *TABLE_FORMATS)),
            mend="name one of these",
        )
    if to in FORMATS and table is not None:
        raise UserError(
            "--table is for csv and parquet", field="--table", found=f"--to {to}", mend="leave it out, or export to csv"
        )
    suffix = FORMATS[to].suffix if to in FORMATS else TABLE_FORMATS[to]
    path = Path(trace).with_suffix(suffix) if output is None else Path(output)
    with open_trace(trace) as opened:
        if path.exists() and path.samefile(trace):
            raise UserError(
                "a trace cannot be exported into itself", file=trace, mend="give another file with --output"
            )
        screen = Screen()
        if to in TABLE_FORMATS:
            _tables(opened, to, path, line, at, table or "exchange", overwrite, screen)
            return
        format = FORMATS[to]
        format.write(opened, path, line, at=at, overwrite=overwrite)
        screen.say(f"Wrote {path}. To read it, for example:")
        screen.command(format.command(opened, path, line, at))


def _tables(
    trace: Trace, to: str, path: Path, line: str | None, at: str | None, table: str, overwrite: bool, screen: Screen
) -> None:
    from busim.foundation.errors import UserError
    from busim.recording.exports import records_table, write_table

    if at is not None:
        raise UserError(
            "a table has the records of all stations", field="--at", found=repr(at[:60]), mend="leave it out"
        )
    rows = _figures(trace, line) if table == _FIGURES else records_table(trace, table, line)
    write_table(trace, rows, to, path, overwrite=overwrite)
    reader = "read_csv" if to == "csv" else "read_parquet"
    screen.say(f"Wrote the table {table} to {path}; times are ns since the start. With pandas, for example:")
    screen.say(f"pandas.{reader}({str(path)!r})")


def _figures(trace: Trace, line: str | None) -> Table:
    """The figures of every line and camera, or of one line."""
    from busim.recording.exports import Column, Table, chosen_lines
    from busim.runtime.session import recorded_report

    chosen = set(chosen_lines(trace, line).values())
    report = recorded_report(trace)

    def rows() -> Iterator[list[Any]]:
        for one in report.lines:
            if one.name in chosen:
                for camera, figures in (("", one.figures), *((each.name, each.figures) for each in one.cameras)):
                    for name, value in figures.items():
                        number = None if value.value is None else float(value.value)
                        yield [one.name, camera, name, number, value.quantity.unit, value.count, value.kind, value.why]

    types = ("TEXT", "TEXT", "TEXT", "REAL", "TEXT", "INTEGER", "TEXT", "TEXT")
    names = ("line", "camera", "figure", "value", "unit", "count", "kind", "not_applicable")
    return Table([Column(*one) for one in zip(names, types, strict=True)], rows())

"""The records of a trace as a table for spreadsheets and data frames: CSV (RFC 4180) or Parquet, row by row.

A file holds one table of the trace, in the order of writing, or rows that its caller computed. Numbers of lines,
stations and masters become their names. Times stay integers of ns. Bytes are hex in CSV and bytes in Parquet. Nothing
is held but one batch, so a trace may be larger than memory.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Sequence
from io import TextIOWrapper
from itertools import islice
from pathlib import Path
from typing import IO, Any, NamedTuple

from busim.foundation.errors import UserError, not_installed
from busim.recording.exports.target import chosen_lines, new_file
from busim.recording.trace import TABLES, Trace
from busim.recording.trace.records import TYPES

INTEGER, REAL, TEXT, BLOB = "INTEGER", "REAL", "TEXT", "BLOB"
TABLE_FORMATS = {"csv": ".csv", "parquet": ".parquet"}
_BATCH = 20_000  # rows of a row group
_NAMED = frozenset(("line", "driver", "station", "master", "camera", "port", "who"))
_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # a cell that begins so is computed by a spreadsheet


class Column(NamedTuple):
    """A column of a table; `type`: INTEGER (of any sign, 64 bits), REAL, TEXT or BLOB, each also None."""

    name: str
    type: str


class Table(NamedTuple):
    """Columns, and rows as long as they."""

    columns: Sequence[Column]
    rows: Iterable[Sequence[Any]]


def table_names() -> tuple[str, ...]:
    """The tables of a trace that can be exported."""
    return tuple(table for table, _, _ in TABLES.values())


def records_table(trace: Trace, table: str, line: str | None = None) -> Table:
    """A table of a trace, or the rows of one line in it. Raises UserError for an unknown table or line, and (later) for
    a damaged trace.
    """
    found = next((kind for kind, (name, _, _) in TABLES.items() if name == table), None)
    if found is None:
        raise UserError(
            "a trace has no such table", field="--table", found=repr(table[:60]), expected=" or ".join(table_names()),
            mend="name one of these",
        )  # fmt: skip
    names = TABLES[found][1]
    number = None
    if line is not None:
        number = next(iter(chosen_lines(trace, line)))
        if "line" not in names:
            raise UserError(
                "this table is not about lines", field="--line", found=table,
                mend="leave --line out, or name another table",
            )  # fmt: skip
    columns = [Column(name, TEXT if name in _NAMED else TYPES.get(name, INTEGER)) for name in names]
    return Table(columns, _named(trace, names, found, number))


def _named(trace: Trace, names: Sequence[str], kind: int, line: int | None) -> Iterator[list[Any]]:
    known = {number: name.name for number, name in trace.names.items()}
    places = [place for place, name in enumerate(names) if name in _NAMED]
    for record in trace.records(kind, line=line):
        row = list(record[1:])
        for place in places:
            row[place] = known.get(row[place], "")
        yield row


def write_table(trace: Trace, table: Table, form: str, path: str | Path, *, overwrite: bool = False) -> None:
    """Write a table to a file; `form`: csv or parquet. Raises UserError: a file there already (unless `overwrite`), not
    writable, pyarrow missing, the trace damaged.
    """
    parquet = _parquet() if form == "parquet" else None
    with new_file(trace, path, overwrite) as out:
        if parquet is None:
            _csv(table, out)
        else:
            _write_parquet(parquet, table, out)


def _csv(table: Table, out: IO[bytes]) -> None:
    text = TextIOWrapper(out, encoding="utf-8", newline="", write_through=False)
    writer = csv.writer(text)
    writer.writerow([column.name for column in table.columns])
    texts = [place for place, column in enumerate(table.columns) if column.type == TEXT]
    blobs = [place for place, column in enumerate(table.columns) if column.type == BLOB]
    for row in table.rows:
        cells = list(row)
        for place in texts:
            if cells[place] and cells[place].startswith(_FORMULA):
                cells[place] = "'" + cells[place]
        for place in blobs:
            cells[place] = cells[place].hex()
        writer.writerow(cells)
    text.flush()
    text.detach()


def _parquet() -> Any:
    try:
        import pyarrow
        from pyarrow import parquet
    except ImportError:
        raise not_installed("pyarrow", "parquet", "--to parquet", ", or export to csv") from None
    return pyarrow, parquet


def _write_parquet(modules: Any, table: Table, out: IO[bytes]) -> None:
    pyarrow, parquet = modules
    types = {INTEGER: pyarrow.int64(), REAL: pyarrow.float64(), TEXT: pyarrow.string(), BLOB: pyarrow.binary()}
    schema = pyarrow.schema([(column.name, types[column.type]) for column in table.columns])
    rows = iter(table.rows)
    with parquet.ParquetWriter(out, schema) as writer:
        while batch := list(islice(rows, _BATCH)):
            columns = zip(zip(*batch, strict=True), schema, strict=True)
            arrays = [pyarrow.array(cells, one.type) for cells, one in columns]
            writer.write_batch(pyarrow.record_batch(arrays, schema=schema))

"""CSV: a table as text, with commas, semicolons or tabs between the cells."""

from __future__ import annotations

import csv
from io import StringIO

from busim.commissioning.spreadsheets.cells import Cell, Row, Table, at
from busim.foundation.diagnostics import Finding, Findings
from busim.foundation.errors import UserError

MOST_ROWS = 20_000
_MOST_FINDINGS = 200
_MARKS = (",", ";", "\t")


def read_csv(data: bytes, name: str, file: str) -> Table:
    """The table `name` of a CSV file. Raises UserError for another encoding than UTF-8 and for too many rows;
    Findings for formulas."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise _encoding(file, "UTF-16")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _encoding(file, f"byte {data[error.start]:02X} at place {error.start + 1}") from None
    head = text.partition("\n")[0]
    mark = max(_MARKS, key=head.count)
    rows: list[Row] = []
    columns: tuple[str, ...] = ()
    findings: list[Finding] = []
    try:
        for number, cells in enumerate(csv.reader(StringIO(text, newline=""), delimiter=mark, strict=True), 1):
            if number == 1:
                columns = tuple(cell.strip() for cell in cells)
            elif any(cells):
                findings += [
                    formula(file, at(name, number, column), cell)
                    for column, cell in enumerate(cells)
                    if cell.startswith("=")
                ]
                rows.append(Row(number, tuple(cell if cell != "" else None for cell in cells)))
            if number > MOST_ROWS:
                raise too_many(file)
    except csv.Error as error:
        raise UserError(
            "not readable as CSV", file=file, found=str(error), expected="cells in quotes where they have commas",
            mend="save the table as CSV in UTF-8 again",
        ) from None  # fmt: skip
    if findings:
        raise Findings(findings[:_MOST_FINDINGS])
    return Table(name, columns, tuple(rows), file)


def write_csv(table: Table) -> str:
    """The table as CSV with commas."""
    text = StringIO(newline="")
    out = csv.writer(text)
    out.writerow(table.columns)
    out.writerows([_text(cell) for cell in row.cells] for row in table.rows)
    return text.getvalue()


def _text(cell: Cell) -> str:
    """A cell as text. A negative number begins as a formula does, so it is guarded as one."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    said = str(cell) if not isinstance(cell, float) else repr(cell)
    return said if isinstance(cell, str) or not said.startswith("-") else f"'{said}"


def formula(file: str, where: str, found: str) -> Finding:
    """A cell with a formula, in a workbook or in CSV."""
    return Finding(
        "error", "formula", "a formula, and busim runs none", file=file, field=where, found=found[:60],
        expected="a value, or a text with an apostrophe in front", mend="paste its value into the cell",
    )  # fmt: skip


def _encoding(file: str, found: str) -> UserError:
    return UserError(
        "this file is not in UTF-8", file=file, found=found, expected="UTF-8, with or without a byte order mark",
        mend="save it as `CSV UTF-8` from the spreadsheet program",
    )  # fmt: skip


def too_many(file: str) -> UserError:
    return UserError(
        "too many rows for an installation", file=file, found=f"more than {MOST_ROWS}", expected=f"at most {MOST_ROWS}",
        mend="delete the rows that are not of this installation; rows with nothing but a format count too",
    )  # fmt: skip

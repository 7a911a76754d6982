"""XLSX: a book of tables, by openpyxl. Formulas are never run: a cell with one is refused, whatever it last showed."""

from __future__ import annotations

import zipfile
from collections.abc import Iterable
from io import BytesIO
from typing import Any

from busim.commissioning.spreadsheets.cells import Cell, Row, Table, at
from busim.commissioning.spreadsheets.csv_files import MOST_ROWS, formula, too_many
from busim.foundation.diagnostics import Finding, Findings
from busim.foundation.errors import UserError, not_installed

_MOST_BYTES = 200 * 2**20  # unpacked: a small file can claim to be endless
_MOST_COLUMNS = 300
_MOST_FINDINGS = 200


def is_book(text: str) -> bool:
    """Whether the beginning of a file is that of an XLSX file."""
    return text.startswith("PK")


def read_book(data: bytes, file: str) -> tuple[Table, ...]:
    """The sheets of a book. Raises UserError for another file and without openpyxl; Findings for merged cells,
    formulas, dates and errors, each at its cell."""
    openpyxl = _openpyxl()
    _check_size(data, file)
    try:
        _count(openpyxl, data, file)
        book = openpyxl.load_workbook(BytesIO(data), data_only=False, keep_links=False)
    except UserError:
        raise
    except Exception as error:  # openpyxl raises what its parsers raise: for the user, all of it is a broken file
        raise UserError(
            "not readable as an XLSX file", file=file, found=str(error)[:120] or type(error).__name__,
            expected="a workbook without a password", mend="open it, save it as .xlsx again, or as CSV in UTF-8",
        ) from None  # fmt: skip
    findings: list[Finding] = []
    tables = tuple(_table(sheet, file, findings) for sheet in book.worksheets)
    if findings:
        raise Findings(findings[:_MOST_FINDINGS])
    return tables


def write_book(tables: Iterable[Table]) -> bytes:
    """A book with a sheet for each table. Raises UserError without openpyxl."""
    openpyxl = _openpyxl()
    book = openpyxl.Workbook()
    book.remove(book.active)
    for table in tables:
        sheet = book.create_sheet(table.name[:31])
        sheet.append(list(table.columns))
        for row in table.rows:
            sheet.append(list(row.cells))
        sheet.freeze_panes = "B2"
        for number, name in enumerate(table.columns, 1):
            sheet.cell(1, number).font = openpyxl.styles.Font(bold=True)
            long = max([len(name), *(len(str(row.cells[number - 1] or "")) for row in table.rows[:200])])
            sheet.column_dimensions[openpyxl.utils.get_column_letter(number)].width = min(60, long + 2)
    data = BytesIO()
    book.save(data)
    return data.getvalue()


def _openpyxl() -> Any:
    try:
        import openpyxl
        import openpyxl.styles
        import openpyxl.utils
    except ImportError:
        raise not_installed("openpyxl", "spreadsheets", "a workbook", ", or use CSV files") from None
    return openpyxl


def _check_size(data: bytes, file: str) -> None:
    try:
        with zipfile.ZipFile(BytesIO(data)) as packed:
            size = sum(one.file_size for one in packed.infolist())
    except zipfile.BadZipFile:
        raise UserError(
            "not an XLSX file", file=file, found="no packed workbook", expected="a file saved as .xlsx",
            mend="save it as .xlsx again, or as CSV in UTF-8",
        ) from None  # fmt: skip
    if size > _MOST_BYTES:
        raise UserError(
            "this workbook is too large", file=file, found=f"{size // 2**20} MB unpacked",
            expected=f"at most {_MOST_BYTES // 2**20} MB", mend="keep only the sheets of the installation",
        )  # fmt: skip


def _count(openpyxl: Any, data: bytes, file: str) -> None:
    """Rows are counted as they are unpacked, so that a hundred thousand of them take no memory."""
    book = openpyxl.load_workbook(BytesIO(data), read_only=True, data_only=False, keep_links=False)
    try:
        for sheet in book.worksheets:
            for number, _ in enumerate(sheet.rows, 1):
                if number > MOST_ROWS:
                    raise too_many(file)
    finally:
        book.close()


def _table(sheet: Any, file: str, findings: list[Finding]) -> Table:
    for area in sheet.merged_cells.ranges:
        first = str(area).partition(":")[0]
        findings.append(
            _wrong(
                file,
                f"{sheet.title}!{first}",
                "merged-cells",
                "merged cells",
                str(area),
                "one value in each cell",
                "unmerge them, and write the value into each row",
            )
        )
    rows: list[Row] = []
    columns: tuple[str, ...] = ()
    for number, cells in enumerate(sheet.iter_rows(max_col=min(sheet.max_column, _MOST_COLUMNS)), 1):
        values = [_value(sheet.title, cell, file, findings) for cell in cells]
        if number == 1:
            columns = tuple("" if value is None else str(value).strip() for value in values)
        elif any(value is not None for value in values):
            rows.append(Row(number, tuple(values)))
    return Table(sheet.title, _trimmed(columns), tuple(rows), file)


def _trimmed(columns: tuple[str, ...]) -> tuple[str, ...]:
    while columns and not columns[-1]:
        columns = columns[:-1]
    return columns


def _value(sheet: str, cell: Any, file: str, findings: list[Finding]) -> Cell:
    value = cell.value
    if value is None or value == "":
        return None
    where = at(sheet, cell.row, cell.column - 1)
    if cell.data_type == "f":
        findings.append(formula(file, where, str(getattr(value, "text", value))))
        return None
    if cell.data_type == "e":
        findings.append(
            _wrong(
                file, where, "error-cell", "an error of the spreadsheet", str(value)[:60], "a value", "correct the cell"
            )
        )
        return None
    if isinstance(value, (bool, int, str)):
        return value
    if isinstance(value, float):
        return int(value) if value.is_integer() and abs(value) < 2**53 else value
    findings.append(
        _wrong(
            file,
            where,
            "date",
            "a date or a time",
            str(value)[:60],
            "a number or a text",
            "format the cell as text, and write the value again",
        )
    )
    return None


def _wrong(file: str, where: str, code: str, what: str, found: str, expected: str, mend: str) -> Finding:
    return Finding("error", code, what, file=file, field=where, found=found, expected=expected, mend=mend)

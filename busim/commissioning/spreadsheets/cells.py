"""Tables and their cells: what a value of a plan is in a cell, and what a cell is in a plan.

A cell that begins with `=`, `+`, `-`, `@`, a tab or a carriage return is run as a formula by some programs. So such a
text gets an apostrophe in front, which reading takes away; an apostrophe that is there already is doubled.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from busim.foundation.errors import UserError
from busim.foundation.yaml_source import Real, flow, parse, resolved

Cell = str | int | float | bool | None
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_FLOW = ('"', "[", "{")
_WORDS = ("", "null", "true", "false", "~")


@dataclass(frozen=True, slots=True)
class Column:
    """The head of a column, and its number from 0."""

    name: str
    number: int


@dataclass(frozen=True, slots=True)
class Row:
    """Cells by column; `number`: of the row as a spreadsheet counts, from 1 with the head in 1."""

    number: int
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A sheet of a book, or a CSV file. `file`: where it was read, "" if it was made."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    file: str = ""

    @classmethod
    def made(cls, name: str, columns: list[str], rows: list[list[Cell]]) -> Table:
        """A table of rows in order."""
        return cls(name, tuple(columns), tuple(Row(number, tuple(row)) for number, row in enumerate(rows, 2)))


def at(table: str, row: int, column: int) -> str:
    """`cameras!C7`: a cell as spreadsheets name it; `column` from 0, `row` from 1."""
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{table}!{letters}{row}"


def guarded(text: str) -> str:
    """A text that no program takes for a formula."""
    return "'" + text if text.startswith((*_FORMULA, "'")) else text


def bare(text: str) -> str:
    """The text that `guarded` was given."""
    return text[1:] if text.startswith("'") else text


def to_cell(value: Any, *, text: bool) -> Cell:
    """A value of a plan file as a cell; `text`: see `to_value`. Lists and mappings are written as in a plan, on one
    line; a text that would be read as something else stands in quotes."""
    if isinstance(value, (bool, int)):
        return value
    if isinstance(value, Real):
        return guarded(value.text)
    if isinstance(value, float):
        return value
    if value is None:
        return "null"
    if isinstance(value, str):
        other = not text and not isinstance(resolved(value), str)
        quoted = other or value in _WORDS or value.startswith(_FLOW) or value != value.strip()
        return guarded(_quoted(value) if quoted else value)
    return guarded(flow(value))


def to_value(cell: Cell, *, text: bool) -> Any:
    """A cell as a value of a plan file. `text`: the plan has a text there, so digits stay one.

    Raises UserError for brackets or quotes that are not closed.
    """
    if not isinstance(cell, str):
        return cell
    said = bare(cell)
    if said.startswith(_FLOW):
        try:
            return parse(f"value: {said}\n", "").value["value"]
        except UserError:
            raise UserError(
                "not readable as a list, a mapping or a quoted text", found=repr(said[:60]),
                expected="brackets, braces and quotes that are closed",
                mend="close every bracket, brace and quote, and put commas between: `[iris, gain]`",
            ) from None  # fmt: skip
    if said in ("null", "~"):
        return None
    return said if text else resolved(said)


def _quoted(value: str) -> str:
    import json

    return json.dumps(value, ensure_ascii=False)

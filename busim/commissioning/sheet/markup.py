"""Tables and values of the sheet as markup."""

from __future__ import annotations

from functools import lru_cache

from markupsafe import Markup

from busim.commissioning.sheet.model import ASSUMED, Cell, Facts, Table, Value
from busim.foundation.markup import el, words


@lru_cache(maxsize=16)
def kind(text: str) -> Markup:
    """Markup for the origin of a number."""
    return el("span", text, class_="kind")


def cell(value: Cell | None, *, say: bool = True) -> Markup:
    """A value as markup; `say` False: omit its origin, which the heading has."""
    if value is None:
        return Markup()
    if isinstance(value, str):
        return words(value)
    text = el("span", value.text, class_="number")
    return Markup(f"{text} {kind(value.kind)}") if say else text  # both are markup


def facts(pairs: Facts, *, ticks: bool = False) -> Markup:
    """Names and values in two columns; `ticks`: with a box to tick before each."""
    tick = el("td", BOX, class_="tick") if ticks else ""
    rows = (el("tr", tick, el("th", name, scope="row"), el("td", cell(value))) for name, value in pairs)
    return el("table", el("tbody", *rows), class_="facts")


BOX = el("span", class_="box")
_SHORT = 11  # letters: "not planned" fits into any column


def table(given: Table) -> Markup:
    """A table. If all numbers of a column have the same origin, the heading shows it; else each cell does.

    Empty columns are left out.
    """
    columns = [column for column in range(len(given.columns)) if any(row[column] != "" for row in given.rows)]
    same = {column: _same(given, column) for column in columns}
    width = {column: "wide" if _long(given, column) else None for column in columns}
    heads = [el("th", class_="tick")] if given.ticks else []
    for column in columns:
        said = Markup(" {}").format(kind(same[column])) if same[column] else ""
        heads.append(el("th", given.columns[column], said, scope="col", class_=width[column]))
    if given.found:
        heads.append(el("th", "found", scope="col", class_="found"))
    rows = []
    for row in given.rows:
        cells = [el("td", BOX, class_="tick")] if given.ticks else []
        cells += [_data(row[column], say=not same[column]) for column in columns]
        rows.append(el("tr", *cells, el("td", class_="found") if given.found else ""))
    return Markup().join(
        (
            el("h3", given.title) if given.title else "",
            el("table", el("thead", el("tr", *heads)), el("tbody", *rows), class_="grid"),
            el("p", given.note, class_="note") if given.note else "",
        )
    )


def _data(value: Cell, *, say: bool) -> Markup:
    """A cell; short words such as "not planned" are not wrapped."""
    few = isinstance(value, str) and 0 < len(value) <= _SHORT
    return el("td", cell(value, say=say), class_="few" if few else None)


def _same(given: Table, column: int) -> str:
    kinds = {value.kind for value in (row[column] for row in given.rows) if isinstance(value, Value)}
    return kinds.pop() if len(kinds) == 1 else ""


def _long(given: Table, column: int) -> bool:
    """Whether a column has long words."""
    return any(isinstance(value, str) and len(value) > _SHORT for value in (row[column] for row in given.rows))


def marked(value: Value) -> str:
    """A number for narrow places: a star marks an assumed one."""
    return value.text + ("*" if value.kind == ASSUMED else "")

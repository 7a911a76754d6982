"""HTML and SVG as text that escapes itself: whatever is not `Markup` already is escaped, so no plan can write markup.

What comes out is XML too (closed elements, quoted attributes), which a test can hold it to with a strict parser.
"""

from __future__ import annotations

import re

from markupsafe import Markup, escape

from busim.commissioning.sheet.model import ASSUMED, Cell, Facts, Table, Value

# Control characters have no place in XML, lone halves of surrogate pairs none in UTF-8, and marks of direction could
# turn the text of a label around.
_NO_TEXT = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\u202a-\u202e\u2066-\u2069\ufffe\uffff]")


def words(text: str) -> Markup:
    """`text` escaped, for between tags and inside of quotes; what is markup already stays as it is."""
    return escape(text if isinstance(text, Markup) else _NO_TEXT.sub("\ufffd", text))


def el(tag: str, *children: str, **attributes: object) -> Markup:
    """An element; children that are no markup are escaped. `class_` and `stroke_width`: with a hyphen, or none."""
    said = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{words(str(value))}"'
        for name, value in attributes.items()
        if value is not None
    )
    return Markup(f"<{tag}{said}>{''.join(map(words, children))}</{tag}>")


def void(tag: str, **attributes: object) -> Markup:
    """An element without content, closed as XML wants it and HTML allows it."""
    return Markup(str(el(tag, **attributes)).replace(f"></{tag}>", " />"))


def css_text(text: str) -> str:
    """A string for a style sheet. Whatever is no plain letter or digit is written by its number."""
    clean = _NO_TEXT.sub("\ufffd", text)
    safe = (one if one.isascii() and (one.isalnum() or one == " ") else f"\\{ord(one):x} " for one in clean)
    return f'"{"".join(safe)}"'


def kind(text: str) -> Markup:
    """The word for where a number comes from."""
    return el("span", text, class_="kind")


def cell(value: Cell | None, *, say: bool = True) -> Markup:
    """A value as markup; `say` False: its heading says already where it comes from."""
    if value is None:
        return Markup()
    if isinstance(value, str):
        return words(value)
    text = el("span", value.text, class_="number")
    return Markup("{} {}").format(text, kind(value.kind)) if say else text


def facts(pairs: Facts, *, ticks: bool = False) -> Markup:
    """Names and values, in two columns; with `ticks` a box before each to tick when it is set."""
    tick = el("td", BOX, class_="tick") if ticks else ""
    rows = (el("tr", tick, el("th", name, scope="row"), el("td", cell(value))) for name, value in pairs)
    return el("table", el("tbody", *rows), class_="facts")


BOX = el("span", class_="box")
_SHORT = 11  # letters: "not planned" fits into any column


def table(given: Table) -> Markup:
    """A table. Where all numbers of a column come from the same place its heading says so, else each of them does.

    A column in which nothing stands is left out.
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
    """A cell; a few letters, such as "not planned", are not broken."""
    few = isinstance(value, str) and 0 < len(value) <= _SHORT
    return el("td", cell(value, say=say), class_="few" if few else None)


def _same(given: Table, column: int) -> str:
    kinds = {value.kind for value in (row[column] for row in given.rows) if isinstance(value, Value)}
    return kinds.pop() if len(kinds) == 1 else ""


def _long(given: Table, column: int) -> bool:
    """Whether a column has words that want room."""
    return any(isinstance(value, str) and len(value) > _SHORT for value in (row[column] for row in given.rows))


def marked(value: Value) -> str:
    """A number where there is no room for a word: an assumed one has a star."""
    return value.text + ("*" if value.kind == ASSUMED else "")

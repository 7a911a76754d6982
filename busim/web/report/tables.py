"""Tables of the report: values with their units and whether they were planned, computed or measured."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from markupsafe import Markup

from busim.foundation.markup import el
from busim.foundation.units import show_time
from busim.recording.figures import QUANTITIES, Value

Cell = str | Markup


def table(heads: Sequence[str], rows: Iterable[Sequence[Cell]], *, numbers: Sequence[int] = ()) -> Markup:
    """A table; `numbers`: columns that are aligned to the right."""
    made = [
        el("tr", *(el("td", cell, class_="number" if place in numbers else None) for place, cell in enumerate(row)))
        for row in rows
    ]
    head = el("tr", *(el("th", text, scope="col") for text in heads))
    return el("div", el("table", el("thead", head), el("tbody", *made)), class_="scroll")


def shown(value: Value | None) -> str:
    """A value with its unit; a dash where it does not apply."""
    if value is None or value.value is None:
        return "–"
    unit, number = value.quantity.unit, value.value
    if unit == "s":
        return show_time(number * 1e9)
    if unit == "1":
        return f"{100 * number:.1f} %"
    if unit == "/s":
        return f"{number:.3g} /s"
    return f"{number:.0f}"


def titles(names: Sequence[str]) -> list[str]:
    """The titles of figures, as headings."""
    return [QUANTITIES[name].title for name in names]

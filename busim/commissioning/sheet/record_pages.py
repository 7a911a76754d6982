"""The pages of a record of a commissioning."""

from __future__ import annotations

from collections.abc import Iterator

from markupsafe import Markup

from busim.commissioning.sheet.markup import table
from busim.commissioning.sheet.model import AsDone
from busim.foundation.markup import el


def record_markup(one: AsDone) -> Iterator[Markup]:
    """What was done on a line, under its warnings."""
    yield el("p", one.about, class_="note")
    if one.warnings:
        yield el("div", *(el("p", el("strong", text)) for text in one.warnings), class_="alarm")
    yield table(one.steps)
    if one.notes:
        yield el("h3", "Between the steps")
        yield el("ul", *(el("li", text) for text in one.notes), class_="findings")
    if one.signature:
        yield el("p", el("strong", one.signature), class_="signed")

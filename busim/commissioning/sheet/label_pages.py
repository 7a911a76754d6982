"""Labels on paper: to cut out, or placed on pre-cut sheets; a cable label is a flag, folded around the cable."""

from __future__ import annotations

from collections.abc import Iterator

from markupsafe import Markup

from busim.commissioning.sheet.label_sheets import LabelSheet
from busim.commissioning.sheet.model import Document, Label
from busim.foundation.markup import el, void

FLAGS = ("cable end",)


def label_markup(label: Label) -> Markup:
    """One label; a flag has its text twice, with the fold between."""
    host, colon, port = label.large.rpartition(":")  # of an endpoint: a line may end before the port, never inside it
    large = el("p", host, void("wbr"), colon, port, class_="large") if host else el("p", label.large, class_="large")
    text = el("p", label.kind, class_="of"), large, el("p", label.name, class_="name")
    lines = tuple(el("p", line) for line in label.lines if line)
    if label.kind not in FLAGS:
        return el("div", *text, *lines, class_="label")
    half = el("div", *text, *lines, class_="half")
    return el("div", half, half, class_="label flag")


def precut_labels(document: Document, sheet: LabelSheet) -> Iterator[Markup]:
    """Pages of labels at the places of a pre-cut sheet, without head and foot: every millimetre is a label's."""
    most = sheet.columns * sheet.rows
    for first in range(0, len(document.labels), most):
        placed = []
        for number, one in enumerate(document.labels[first : first + most]):
            row, column = divmod(number, sheet.columns)
            x, y = sheet.left + column * sheet.across, sheet.top + row * sheet.down
            style = f"left: {x:g}mm; top: {y:g}mm; width: {sheet.width:g}mm; height: {sheet.height:g}mm"
            placed.append(el("div", label_markup(one), class_="place", style=style))
        tall = sheet.top + sheet.rows * sheet.down  # or all pages lie on the first, since what is placed takes no room
        yield el("section", *placed, class_="precut", style=f"height: {tall:g}mm")

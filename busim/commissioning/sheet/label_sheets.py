"""Pre-cut sheets of labels, by their dimensions in mm. Common sizes of the trade (common practice, no source).

Measure your sheet, and print one page on plain paper first. A sheet of another size is a line more here.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """`columns` x `rows` labels of `width` x `height` mm. `left`, `top`: to the first one; `across`, `down`: from the
    left (top) edge of one to that of the next."""

    paper: str
    columns: int
    rows: int
    width: float
    height: float
    left: float
    top: float
    across: float
    down: float


LABEL_SHEETS = {
    "a4-3x8": LabelSheet("a4", 3, 8, 70.0, 37.0, 0.0, 0.5, 70.0, 37.0),
    "a4-3x7": LabelSheet("a4", 3, 7, 63.5, 38.1, 7.2, 15.1, 66.0, 38.1),
    "letter-3x10": LabelSheet("letter", 3, 10, 66.7, 25.4, 4.8, 12.7, 69.8, 25.4),
}

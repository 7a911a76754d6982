"""The run sheet: a plan on paper, for a crew on ladders without a screen.

Public: `sheet` (a plan to a `Document`, the content as data), `html` (a `Document` to one file for printing),
`is_sheet` (whether a file is a sheet), the options `PAPERS` and `PARTS`. Pure: date and version are arguments.
"""

from busim.commissioning.sheet.gather import digest, sheet
from busim.commissioning.sheet.model import (
    ASSUMED,
    COMPUTED,
    PLANNED,
    Cable,
    Card,
    Checks,
    Document,
    Label,
    LinePart,
    Stand,
    Table,
    Task,
    Value,
)
from busim.commissioning.sheet.pages import PAPERS, PARTS, html, is_sheet

__all__ = [
    "ASSUMED",
    "COMPUTED",
    "PAPERS",
    "PARTS",
    "PLANNED",
    "Cable",
    "Card",
    "Checks",
    "Document",
    "Label",
    "LinePart",
    "Stand",
    "Table",
    "Task",
    "Value",
    "digest",
    "html",
    "is_sheet",
    "sheet",
]

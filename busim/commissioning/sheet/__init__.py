"""The run sheet: a plan on paper, for a crew on ladders without a screen.

Public: `sheet` (a plan to a `Document`, the content as data), `html` (a `Document` to one file for printing),
`is_sheet` (whether a file is a sheet), the options `PAPERS` and `PARTS`; its pieces for
other forms: `line_parts`, `bill`, `loose_cards`, `instruction`, `Said`. Pure: date and version are arguments.

Open `gather.py` first.
"""

from busim.commissioning.sheet.bill import bill
from busim.commissioning.sheet.cables import line_parts
from busim.commissioning.sheet.gather import digest, sheet
from busim.commissioning.sheet.label_sheets import LABEL_SHEETS, LabelSheet
from busim.commissioning.sheet.model import (
    ASSUMED,
    COMPUTED,
    PLANNED,
    AsDone,
    Cable,
    Card,
    Changes,
    Checks,
    Document,
    Label,
    LinePart,
    Silent,
    Stand,
    Table,
    Task,
    Value,
)
from busim.commissioning.sheet.pages import PAPERS, PARTS, html, is_sheet
from busim.commissioning.sheet.said import Said
from busim.commissioning.sheet.settings import loose_cards
from busim.commissioning.sheet.tasks import instruction

__all__ = [
    "ASSUMED",
    "COMPUTED",
    "LABEL_SHEETS",
    "PAPERS",
    "PARTS",
    "PLANNED",
    "AsDone",
    "Cable",
    "Card",
    "Changes",
    "Checks",
    "Document",
    "Label",
    "LabelSheet",
    "LinePart",
    "Said",
    "Silent",
    "Stand",
    "Table",
    "Task",
    "Value",
    "bill",
    "digest",
    "html",
    "instruction",
    "is_sheet",
    "line_parts",
    "loose_cards",
    "sheet",
]

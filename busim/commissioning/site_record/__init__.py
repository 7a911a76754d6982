"""The record of a commissioning on a real line: who did which step when, and what was found. Pure text in and out.

Public: its entries (`Begun`, `StepEntry`, `Note`, `Signed`), `as_line` (an entry as a line of the file), `seal` (what a
signature covers), `read_record` (the text of a file as a `SiteRecord`), `is_record`.

Open `record.py` first.
"""

from busim.commissioning.site_record.record import (
    SCHEMA,
    Begun,
    Note,
    Signed,
    SiteRecord,
    StepEntry,
    as_line,
    is_record,
    read_record,
    seal,
)

__all__ = [
    "SCHEMA",
    "Begun",
    "Note",
    "Signed",
    "SiteRecord",
    "StepEntry",
    "as_line",
    "is_record",
    "read_record",
    "seal",
]

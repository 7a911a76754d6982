"""Diff: the changes from one plan to another, in words for the people who do them on site.

Public: `diff` (two plans to a `Difference`), and its parts: `Said` (one task), `FieldChange` (one field), `TASKS` (the
groups of tasks, in order).

Open `difference.py` first.
"""

from busim.analysis.diff.difference import SCHEMA, Difference, diff
from busim.analysis.diff.fields import FieldChange
from busim.analysis.diff.words import TASKS, Said

__all__ = ["SCHEMA", "TASKS", "Difference", "FieldChange", "Said", "diff"]

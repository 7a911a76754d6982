"""Diff: what changed from one plan to another, in the words of who has to do it on site.

Public: `diff` (two plans to a `Difference`), and what it is made of: `Said` (one thing to do), `FieldChange` (one
field), `TASKS` (what things are grouped by, in order).
"""

from busim.analysis.diff.difference import SCHEMA, Difference, diff
from busim.analysis.diff.fields import FieldChange
from busim.analysis.diff.words import TASKS, Said

__all__ = ["SCHEMA", "TASKS", "Difference", "FieldChange", "Said", "diff"]

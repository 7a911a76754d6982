"""Shapes of declared files: what the forms of plans and dialects have in common, and the words for their mistakes.

Public: `Shape` (a mapping with exactly its keys), `has` (a field with description and example), `refusal` (what a
parser refused, for pydantic), `Word` (a name), `worded` (a pydantic error as a finding with its place), `at` (a finding
at a field), `written` (a value as one would write it in a file), `begun` (a starter file with its name in it).
"""

from busim.shapes.begun import begun
from busim.shapes.shape import LONGEST_WORD, Shape, Word, has, refusal
from busim.shapes.wording import at, worded, written

__all__ = ["LONGEST_WORD", "Shape", "Word", "at", "begun", "has", "refusal", "worded", "written"]

"""Shapes of declared files: the common parts of the schemas of plans, protocols and camera models, and the words for
mistakes.

Public: `Shape` (a mapping with exactly its keys), `has` (a field with description and example), `refusal` (a parser's
refusal, for pydantic), `Word` (a name), `is_word` (whether a text can be one), `cleaned` (the one
that it was meant to be), `Sentence` (a text), `quantity` and `offered` (text with a unit: its validator,
and its JSON Schema), `worded` (a pydantic error as a finding with its place), `at` (a finding at a field), `written` (a
value as written in a file), `Notebook` (findings about one document), `form` (a shape as JSON Schema), `begun` (a
starter file with its name in it).

Open `shape.py` first.
"""

from busim.foundation.schema.begun import begun
from busim.foundation.schema.notebook import Notebook
from busim.foundation.schema.quantities import offered, quantity
from busim.foundation.schema.shape import LONGEST_WORD, Sentence, Shape, Word, cleaned, form, has, is_word, refusal
from busim.foundation.schema.wording import at, worded, written

__all__ = [
    "LONGEST_WORD",
    "Notebook",
    "Sentence",
    "Shape",
    "Word",
    "at",
    "begun",
    "cleaned",
    "form",
    "has",
    "is_word",
    "offered",
    "quantity",
    "refusal",
    "worded",
    "written",
]

"""Declared data: YAML files in, plain values out, with the line and column of every key and value.

Public: `load` (a file), `parse` (a text), `Declared` (what they return), `locate` (place of a field path),
`Real` (a float that keeps its text), `nearest` (the known word that was probably meant), `shown` (a value as a
message quotes it).
"""

from busim.declared.document import Declared, Position, Real, join, locate
from busim.declared.reading import MOST_BYTES, MOST_DEPTH, MOST_VALUES, load, parse
from busim.declared.words import nearest, shown

__all__ = [
    "MOST_BYTES",
    "MOST_DEPTH",
    "MOST_VALUES",
    "Declared",
    "Position",
    "Real",
    "join",
    "load",
    "locate",
    "nearest",
    "parse",
    "shown",
]

"""Declared data: YAML files in, plain values out, with the line and column of every key and value.

Public: `load` (a file), `parse` (a text), `Declared` (their result), `locate` (place of a field path), `Real` (a float
that keeps its text), `Rewriting` (a file changed, its comments kept), `Blocks` (entries of its lists moved, their
comments with them), `scalar` and `flow` (values as YAML text), `resolved` (a plain scalar as YAML reads it), `nearest`
(the known word that was probably meant), `suggestion` (the same as advice), `shown` (a value as a message quotes it),
`is_path` (whether a name refers to a file), `NamedFiles` (things that come with busim, or stand in files beside a
plan).

Open `reading.py` first.
"""

from busim.foundation.yaml_source.blocks import Blocks
from busim.foundation.yaml_source.document import Declared, Position, Real, join, locate
from busim.foundation.yaml_source.named_files import NamedFiles
from busim.foundation.yaml_source.reading import MOST_BYTES, MOST_DEPTH, MOST_VALUES, load, parse, resolved
from busim.foundation.yaml_source.rewriting import Rewriting
from busim.foundation.yaml_source.words import is_path, nearest, shown, suggestion
from busim.foundation.yaml_source.writing import flow, scalar

__all__ = [
    "MOST_BYTES",
    "MOST_DEPTH",
    "MOST_VALUES",
    "Blocks",
    "Declared",
    "NamedFiles",
    "Position",
    "Real",
    "Rewriting",
    "flow",
    "is_path",
    "join",
    "load",
    "locate",
    "nearest",
    "parse",
    "resolved",
    "scalar",
    "shown",
    "suggestion",
]

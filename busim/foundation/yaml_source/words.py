"""Words: a value as a message quotes it, the known word that was probably meant, and names that refer to files."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from itertools import islice
from typing import Any

from busim.foundation.yaml_source.document import Real

# A suggestion is a courtesy: it looks through a limited number of known words, however large the file.
_MOST_KNOWN = 500
_LONGEST = 60
_MOST_SHOWN = 5
_PARTS = re.compile(r"[-_ ]")


def shown(value: Any) -> str:
    """A declared value, short enough for one line of a message."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Real):
        return value.text[:_LONGEST]
    if isinstance(value, dict):
        keys = ", ".join(islice(value, _MOST_SHOWN))[:_LONGEST]
        return f"a mapping of {keys}" if keys else "an empty mapping"
    if isinstance(value, list):
        return f"a list of {len(value)}" if value else "an empty list"
    text = str(value)
    if not isinstance(value, str):
        return text[:_LONGEST]
    return repr(text) if len(text) <= _LONGEST else repr(text[:_LONGEST]) + "..."


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word most like `word`, None without a similar one.

    If no spelling is similar: the shortest name with `word` as one of its parts, `bus_id` for `id`.
    """
    choices = {choice.casefold()[:_LONGEST]: choice for choice in islice(known, _MOST_KNOWN)}
    close = difflib.get_close_matches(word.casefold()[:_LONGEST], choices, n=1, cutoff=0.6)
    if close:
        return choices[close[0]]
    within = [choice for choice in choices if word.casefold() in _PARTS.split(choice)]
    return choices[min(within, key=len)] if within else None


def suggestion(word: str, known: Iterable[str], otherwise: str) -> str:
    """What to do about a word that is none of `known`: the one most like it, or else `otherwise`."""
    meant = nearest(word, known)
    return f"did you mean `{meant}`?" if meant else otherwise


def is_path(name: str) -> bool:
    """Whether a name in a file refers to a file beside it, and not to a thing that busim knows by this name."""
    return name.endswith((".yaml", ".yml"))

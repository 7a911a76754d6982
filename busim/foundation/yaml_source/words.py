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
_MOST_CLOSE = 3
_ALIKE = 0.6  # share of equal letters, as difflib counts them
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

    Of a name with several parts each must be similar: `rope box` is not `speed box`, and no number is another number.
    If no spelling is similar: the shortest name with `word` as one of its parts, `bus_id` for `id`.
    """
    choices = {choice.casefold()[:_LONGEST]: choice for choice in islice(known, _MOST_KNOWN)}
    given = word.casefold()[:_LONGEST]
    for close in difflib.get_close_matches(given, choices, n=_MOST_CLOSE, cutoff=_ALIKE):
        if _alike_in_parts(given, close):
            return choices[close]
    within = [choice for choice in choices if word.casefold() in _PARTS.split(choice)]
    return choices[min(within, key=len)] if within else None


def _alike_in_parts(word: str, known: str) -> bool:
    ours, theirs = _PARTS.split(word), _PARTS.split(known)
    if len(ours) != len(theirs) or len(ours) == 1:
        return True
    return all(
        our == their
        or (not (our.isdigit() and their.isdigit()) and difflib.SequenceMatcher(None, our, their).ratio() >= _ALIKE)
        for our, their in zip(ours, theirs, strict=True)
    )


def suggestion(word: str, known: Iterable[str], otherwise: str) -> str:
    """What to do about a word that is none of `known`: the one most like it, or else `otherwise`."""
    meant = nearest(word, known)
    return f"did you mean `{meant}`?" if meant else otherwise


def is_path(name: str) -> bool:
    """Whether a name in a file refers to a file beside it, and not to a thing that busim knows by this name."""
    return name.endswith((".yaml", ".yml"))

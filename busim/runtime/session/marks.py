"""Marks: a text at an instant of a run."""

from __future__ import annotations

from busim.foundation.errors import UserError
from busim.foundation.units import parse_time


def parse_mark(text: str) -> tuple[int, str]:
    """`12s doors open` to (ns, text). Raises UserError."""
    when, _, words = text.strip().partition(" ")
    if not words.strip():
        example = "write for example '12s doors open'"
        raise UserError("not a mark", found=repr(text[:60]), expected="a time and a text", mend=example)
    return parse_time(when), words.strip()

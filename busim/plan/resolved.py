"""The resolved plan as JSON: every default filled in, for the trace.

A trace that only held the plan's text would change its meaning when a default changes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from fractions import Fraction
from typing import Any

from busim.foundation.errors import Defect
from busim.foundation.units import CharFormat, FrameRate
from busim.plan.types import Plan

FORM = 1
_LEFT_OUT = {"source", "path", "positions", "files", "as_read"}


def defaults(plan: Plan) -> dict[str, Any]:
    """Every value of the plan, defaults included: times as integers of ns, lengths in metres, rates per
    second, electrical quantities in base units, baud and shutter as the text of a fraction, formats as `8E1`, frame
    rates as `50p`, bytes in hexadecimal, spreads and ranges as {low, high}. The text, its path, the positions and the
    files beside it are left out."""
    return {
        "busim": FORM,
        **{field.name: _plain(getattr(plan, field.name)) for field in fields(plan) if field.name not in _LEFT_OUT},
    }


def _plain(value: Any) -> Any:
    if isinstance(value, (Fraction, CharFormat, FrameRate)):
        return str(value)
    if isinstance(value, bytes):
        return value.hex(" ")
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {name: _plain(entry) for name, entry in value.items()}
    if isinstance(value, tuple):
        return [_plain(entry) for entry in value]
    if value is None or isinstance(value, (bool, int, float, str)):
        return value
    raise Defect(f"a plan holds a {type(value).__name__}, which has no JSON form")

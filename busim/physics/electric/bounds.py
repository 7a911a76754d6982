"""Numbers that a formula can take: one place to refuse those that have no meaning."""

from __future__ import annotations

import math
from dataclasses import dataclass

from busim.foundation.errors import UserError


@dataclass(frozen=True, slots=True)
class Published:
    """A figure and where it was published, for figures that differ from source to source."""

    value: float
    source: str


def positive(value: float, what: str) -> float:
    """The value, where it is finite and more than 0. Raises UserError."""
    if not (math.isfinite(value) and value > 0):
        raise UserError(f"no {what}", found=f"{value:g}", expected="a number more than 0")
    return value


def not_negative(value: float, what: str) -> float:
    """The value, where it is finite and 0 or more. Raises UserError."""
    if not (math.isfinite(value) and value >= 0):
        raise UserError(f"no {what}", found=f"{value:g}", expected="0 or more")
    return value

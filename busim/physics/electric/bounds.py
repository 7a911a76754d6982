"""Checks of numbers for formulas: one place that refuses numbers without a meaning."""

from __future__ import annotations

import math
from dataclasses import dataclass

from busim.foundation.errors import UserError


@dataclass(frozen=True, slots=True)
class Published:
    """A figure with its source, for figures that differ between sources."""

    value: float
    source: str


def positive(value: float, what: str) -> float:
    """The value. Raises UserError unless it is finite and more than 0."""
    if not (math.isfinite(value) and value > 0):
        raise UserError(f"not a valid {what}", found=f"{value:g}", expected="a number more than 0")
    return value


def not_negative(value: float, what: str) -> float:
    """The value. Raises UserError unless it is finite and 0 or more."""
    if not (math.isfinite(value) and value >= 0):
        raise UserError(f"not a valid {what}", found=f"{value:g}", expected="0 or more")
    return value

"""Origin of numbers (planned or assumed), and their format on a sheet."""

from __future__ import annotations

from fractions import Fraction

from busim.commissioning.sheet.model import ASSUMED, COMPUTED, PLANNED, Value
from busim.foundation.units import Range
from busim.installation import WRITTEN, Installation


class Said:
    """Origin of values for a sheet: planned if the plan has the value, else assumed."""

    def __init__(self, site: Installation) -> None:
        self._origin = site.origin

    def kind(self, field: str) -> str:
        """Planned or assumed."""
        return PLANNED if self._origin(field).kind == WRITTEN else ASSUMED

    def value(self, field: str, text: object) -> Value:
        return Value(str(text), self.kind(field))


def computed(text: object) -> Value:
    return Value(str(text), COMPUTED)


def number(value: float, digits: int = 6) -> str:
    """A number without trailing zeros and without an exponent."""
    text = f"{value:.{digits}g}"
    return f"{value:.0f}" if "e" in text else text


def metres(value: float) -> str:
    return f"{number(round(value, 2))} m"


def gauge(value: float) -> str:
    return f"AWG {number(value, 3)}"


def volts(value: float) -> str:
    return f"{value:.1f} V"


def spread(low: float, high: float, unit: str) -> str:
    return f"{number(low, 4)} {unit}" if low == high else f"{number(low, 4)} to {number(high, 4)} {unit}"


def of_range(value: Range, unit: str) -> str:
    return spread(value.low, value.high, unit)


def baud(value: Fraction) -> str:
    return f"{number(float(value), 9)} Bd"

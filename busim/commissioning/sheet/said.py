"""Whether the plan says a number or a default does, and how numbers are written on a sheet."""

from __future__ import annotations

from fractions import Fraction

from busim.commissioning.sheet.model import ASSUMED, COMPUTED, PLANNED, Value
from busim.foundation.units import Range
from busim.plan import Plan


class Said:
    """Looks at which fields were written in the file. A plan made by a program has no file: all of it is planned."""

    def __init__(self, plan: Plan) -> None:
        self._positions = plan.positions
        self._parents = {field.rpartition(".")[0] for field in plan.positions}

    def kind(self, field: str) -> str:
        """Planned where the field was written, itself or in a short form such as `clients: 4`."""
        if not self._positions or field in self._positions:
            return PLANNED
        parent = field.rpartition(".")[0]
        short = parent in self._positions and parent not in self._parents
        return PLANNED if short else ASSUMED

    def value(self, field: str, text: object) -> Value:
        return Value(str(text), self.kind(field))


def computed(text: object) -> Value:
    return Value(str(text), COMPUTED)


def number(value: float, digits: int = 6) -> str:
    """Without needless zeros, and never in powers of ten."""
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

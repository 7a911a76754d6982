"""Quantities of supplies and cables: text with a unit to a number in volts, amperes, watts, ohms, farads, AWG.

A quantity that varies, or is known only roughly, is a `Range`: the power of a camera on its label differs from that
with its motors running.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from busim.foundation.errors import UserError
from busim.foundation.units.quantities import split

_MILLI = Fraction(1, 1000)
_VOLTAGE = {"V": Fraction(1), "mV": _MILLI, "kV": Fraction(1000)}
_CURRENT = {"A": Fraction(1), "mA": _MILLI}
_POWER = {"W": Fraction(1), "mW": _MILLI, "kW": Fraction(1000)}
_RESISTANCE = {"ohm": Fraction(1), "kohm": Fraction(1000), "Ω": Fraction(1), "kΩ": Fraction(1000)}
_CAPACITANCE = {"nF": Fraction(1, 10**9), "pF": Fraction(1, 10**12), "uF": Fraction(1, 10**6), "µF": Fraction(1, 10**6)}
_AREA = {"mm2": Fraction(1), "mm²": Fraction(1)}
_AWG = re.compile(r"AWG\s*([0-9]{1,2})|([0-9]{1,2})\s*AWG")
_THICKEST, _THINNEST = 0, 40


@dataclass(frozen=True, slots=True)
class Range:
    """A quantity between two bounds, in the unit of its field."""

    low: float
    high: float

    @property
    def fixed(self) -> bool:
        return self.low == self.high


def _positive(text: str, units: dict[str, Fraction], example: str) -> float:
    if text.strip() == "0":
        return 0.0
    number, unit = split(text, units, example)
    if number < 0:
        raise UserError("a negative value", found=repr(text), expected="0 or more", mend="drop the sign")
    return float(number * units[unit])


def parse_voltage(text: str) -> float:
    """`12 V` to volts, never negative. Raises UserError."""
    return _positive(text, _VOLTAGE, "12 V")


def parse_current(text: str) -> float:
    """`3.15 A` or `500 mA` to amperes, never negative. Raises UserError."""
    return _positive(text, _CURRENT, "3.15 A")


def parse_power(text: str) -> float:
    """`6 W`, or `0.5 A at 12 V` as on labels, to watts, never negative. Raises UserError."""
    amperes, at, volts = text.partition(" at ")
    return parse_current(amperes) * parse_voltage(volts) if at else _positive(text, _POWER, "6 W, or 0.5 A at 12 V")


def parse_resistance(text: str) -> float:
    """`120 ohm` to ohms, never negative. Raises UserError."""
    return _positive(text, _RESISTANCE, "120 ohm")


def parse_capacitance(text: str) -> float:
    """`1 nF` to farads, never negative. Raises UserError."""
    return _positive(text, _CAPACITANCE, "1 nF")


def parse_range(text: str, parse: Callable[[str], float]) -> Range:
    """`6 W` or `4..7 W` (also `500 mW..1 W`) to a Range, each end read by `parse`. Raises UserError."""
    if ".." not in text:
        value = parse(text)
        return Range(value, value)
    low_text, high_text = (part.strip() for part in text.split("..", 1))
    high = parse(high_text)
    unit = re.sub(r"^[-+0-9_.eE\s]*", "", high_text)
    bare = re.fullmatch(r"[-+0-9_.]+", low_text)
    low = parse(f"{low_text} {unit}" if bare and low_text != "0" else low_text)
    if low > high:
        raise UserError("a range runs from low to high", found=repr(text), expected="low..high", mend="swap the two")
    return Range(low, high)


def parse_gauge(text: str) -> float:
    """`AWG 24`, or a cross-section such as `0.25 mm2`, to the number of the American wire gauge, 0 to 40.

    A cross-section becomes a gauge between two numbers, by d = 0.127 mm x 92^((36 - n)/39), the definition of the
    gauge (ASTM B258). Raises UserError.
    """
    bare = text.strip()
    match = _AWG.fullmatch(bare)
    if match:
        gauge = float(match[1] or match[2])
    else:
        if "mm" not in bare:
            raise UserError(
                "not a wire gauge",
                found=repr(text[:60]),
                expected="AWG and a number, or a cross-section in mm2",
                mend="write for example AWG 24",
            )
        area = _positive(bare, _AREA, "0.25 mm2")
        if not 0.001 < area < 100:
            raise _no_gauge(text)
        gauge = round(36 - 39 * math.log(2 * math.sqrt(area / math.pi) / 0.127, 92), 6)
    if not _THICKEST <= gauge <= _THINNEST:
        raise _no_gauge(text)
    return gauge


def _no_gauge(text: str) -> UserError:
    return UserError(
        "no gauge of a cable like this",
        found=repr(text[:60]),
        expected=f"AWG {_THICKEST} to {_THINNEST}, which is 53 to 0.005 mm2",
        mend="write for example AWG 24",
    )

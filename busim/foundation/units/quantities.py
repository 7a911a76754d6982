"""Text with a unit to an exact number, and back.

General unit libraries read `120 m` as 0.12 or cost a quarter of a second to import. A plan needs a handful of units,
each allowed only in some fields.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from busim.foundation.errors import UserError

_NUMBER = re.compile(r"\s*([+-]?\d+(?:_\d+)*(?:\.\d+)?(?:[eE][+-]?\d+)?)\s*([^\d\s].*)?")
_TIME = {"ns": 1, "us": 10**3, "µs": 10**3, "ms": 10**6, "s": 10**9, "min": 60 * 10**9, "h": 3600 * 10**9}
_BAUD = {"Bd": 1, "kBd": 1000, "baud": 1}
_LENGTH = {"m": Fraction(1), "cm": Fraction(1, 100), "km": Fraction(1000), "ft": Fraction(3048, 10000)}
_RATE = {"/s": Fraction(1), "Hz": Fraction(1), "/min": Fraction(1, 60)}


@dataclass(frozen=True, slots=True)
class Spread:
    """A time between two bounds, in ns; drawn uniformly unless it is a single value."""

    low: int
    high: int

    @property
    def fixed(self) -> bool:
        return self.low == self.high

    @property
    def mean(self) -> float:
        return (self.low + self.high) / 2


def split(text: str, units: dict[str, int] | dict[str, Fraction], example: str) -> tuple[Fraction, str]:
    """Number and unit of a text; `example` shows the accepted form in the message. Raises UserError."""
    match = _NUMBER.fullmatch(text) if len(text) <= 60 else None  # int() itself refuses thousands of digits
    unit = (match[2] or "").strip() if match else ""
    exponent = re.search(r"[eE]([+-]?\d+)", match[1]) if match else None
    if match is None or unit not in units or (exponent and abs(int(exponent[1])) > 18):
        raise UserError(
            "not a quantity of this kind",
            found=repr(text[:60]),
            expected="a number and one of " + ", ".join(units),
            mend=f"write for example {example}",
        )
    return Fraction(match[1].replace("_", "")), unit


def parse_time(text: str) -> int:
    """`5 ms` to 5_000_000 ns (rounded to a nanosecond). Never negative. Raises UserError."""
    value = parse_signed_time(text)
    if value < 0:
        raise UserError("a time cannot be negative here", found=repr(text), expected="0 or more", mend="drop the sign")
    return value


def parse_signed_time(text: str) -> int:
    """As parse_time, but a negative time is allowed (a driver that releases early)."""
    if text.strip() == "0":
        return 0
    number, unit = split(text, _TIME, "5 ms")
    return round(number * _TIME[unit])


def parse_spread(text: str) -> Spread:
    """`5 ms` or `2..8 ms` (also `800 us..2 ms`) to a Spread. Raises UserError."""
    if ".." not in text:
        value = parse_time(text)
        return Spread(value, value)
    low_text, high_text = text.split("..", 1)
    high = parse_time(high_text)
    if low_text.strip() != "0" and not re.search(r"[a-zµ]", low_text):
        match = _NUMBER.fullmatch(high_text)
        low_text += " " + (match[2] or "" if match else "")
    low = parse_time(low_text)
    if low > high:
        raise UserError("a range runs from low to high", found=repr(text), expected="low..high", mend="swap the two")
    return Spread(low, high)


def parse_baud(text: str) -> Fraction:
    """`38400 Bd` (or a bare number) to a Fraction, more than 0 and at most 10 MBd. Raises UserError."""
    bare = text.strip()
    number, unit = split(bare + " Bd" if re.fullmatch(r"[\d._]+", bare) else text, _BAUD, "38400 Bd")
    value = number * _BAUD[unit]
    if not 0 < value <= 10_000_000:
        raise UserError(
            "no baud rate",
            found=repr(text),
            expected="more than 0 and at most 10000 kBd",
            mend="write for example 38400 Bd",
        )
    return value


def parse_length(text: str) -> float:
    """`18 m` to metres, never negative. Raises UserError."""
    if text.strip() == "0":
        return 0.0
    number, unit = split(text, _LENGTH, "18 m")
    value = float(number * _LENGTH[unit])
    if value < 0:
        raise UserError("a length cannot be negative", found=repr(text), expected="0 or more", mend="drop the sign")
    return value


def parse_coordinate(text: str) -> float:
    """`-4 m` to metres, in either direction from a point of the site. Raises UserError."""
    if text.strip() == "0":
        return 0.0
    number, unit = split(text, _LENGTH, "4 m")
    return float(number * _LENGTH[unit])


def parse_rate(text: str) -> float:
    """`2 /s` or `10 Hz` to a number per second, never negative. Raises UserError."""
    if text.strip() == "0":
        return 0.0
    number, unit = split(text, _RATE, "2 /s")
    value = float(number * _RATE[unit])
    if value < 0:
        raise UserError("a rate cannot be negative", found=repr(text), expected="0 or more", mend="drop the sign")
    return value


def show_time(ns: float) -> str:
    """A time for people: three significant figures in a suitable unit."""
    for unit, size in (("s", 10**9), ("ms", 10**6), ("us", 10**3)):
        if abs(ns) >= size:
            return f"{ns / size:.3g} {unit}" if ns / size < 1000 else f"{ns / size:.0f} {unit}"
    return f"{ns:.0f} ns"

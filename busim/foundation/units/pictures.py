"""Frame rates and shutter times, as exact fractions: a shutter of 1/60 s fits into a frame of 60p to the last digit."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from busim.foundation.errors import UserError
from busim.foundation.units.quantities import split

_RATE = re.compile(r"([0-9]{1,4}(?:\.[0-9]{1,3})?)\s*([pi])")
_SHUTTER = re.compile(r"1/([0-9]{1,6})(?:\.([0-9]{1,3}))?\s*s")
_SECONDS = {"s": Fraction(1), "ms": Fraction(1, 10**3), "us": Fraction(1, 10**6), "µs": Fraction(1, 10**6)}
_NTSC = {"23.98": 24, "23.976": 24, "29.97": 30, "47.95": 48, "59.94": 60, "119.88": 120}


@dataclass(frozen=True, slots=True)
class FrameRate:
    """`rate` pictures per second: frames if progressive, fields if interlaced (50i has 50 fields)."""

    rate: Fraction
    interlaced: bool = False

    def __str__(self) -> str:
        text = next((text for text, full in _NTSC.items() if self.rate == Fraction(full * 1000, 1001)), "")
        return (text or str(float(self.rate)).removesuffix(".0")) + ("i" if self.interlaced else "p")


def parse_frame_rate(text: str) -> FrameRate:
    """`50p`, `50i` (fields), `59.94p` (60000/1001) to a FrameRate. Raises UserError."""
    match = _RATE.fullmatch(text.strip())
    rate = Fraction(match[1]) if match else Fraction(0)
    if match and match[1] in _NTSC:
        rate = Fraction(_NTSC[match[1]] * 1000, 1001)
    if match is None or not 1 <= rate <= 2000:
        raise UserError(
            "no frame rate",
            found=repr(text[:60]),
            expected="frames per second and p, or fields per second and i, from 1 to 2000",
            mend="write for example 50p",
        )
    return FrameRate(rate, match[2] == "i")


def parse_shutter(text: str) -> Fraction:
    """`1/50 s` or `10 ms` to seconds, exactly; more than 0 and at most 10 s. Raises UserError."""
    bare = text.strip()
    match = _SHUTTER.fullmatch(bare)
    if match:
        divisor = Fraction(f"{match[1]}.{match[2] or 0}")
        value = 1 / divisor if divisor else Fraction(0)
    else:
        number, unit = split(bare, _SECONDS, "1/50 s")
        value = number * _SECONDS[unit]
    if not 0 < value <= 10:
        raise UserError(
            "no shutter time",
            found=repr(text[:60]),
            expected="more than 0 and at most 10 s",
            mend="write for example 1/50 s",
        )
    return value

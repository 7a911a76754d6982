"""The setting of a port (baud, format, clock error, polarity), and the instants that follow from it.

Half-bit n of a character lies at start + (2*n*10**9 + d) // (2*d) with d = 2 x baud. It is computed from the start each
time, because a summed rounded bit time drifts. d is rational, since baud may be fractional and clocks err.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache

from busim.foundation.units import CharFormat


class Setting:
    """One port setting. Made by `setting()`, so that equal settings are the same object."""

    __slots__ = (
        "_denominator",
        "_half",
        "_numerator",
        "_reaches",
        "baud",
        "char",
        "format",
        "halves",
        "inverted",
        "ppm",
        "sample",
        "sample_halves",
        "tail",
        "trim",
    )

    def __init__(self, baud: Fraction, format: CharFormat, ppm: float, inverted: bool) -> None:
        self.baud = baud
        self.format = format
        self.ppm = ppm
        self.inverted = inverted
        rate = 2 * baud * (1 + Fraction(ppm).limit_denominator(10**6) / 10**6)
        self._numerator = 2 * 10**9 * rate.denominator
        self._half = rate.numerator
        self._denominator = 2 * rate.numerator
        self._reaches: dict[int, tuple[int, int]] = {}
        self.halves = format.half_bits
        self.sample_halves = format.sample_halves
        self.char = self.offset(self.halves)  # ns of one character
        self.sample = self.offset(self.sample_halves)  # ns from a start edge until the byte is complete
        self.tail = self.char - self.sample  # ns from there to the end of the character
        # The value read for each byte with fewer than eight data bits; None: unchanged.
        cut = (1 << format.data_bits) - 1
        self.trim = bytes(value & cut for value in range(256)) if format.data_bits < 8 else None

    def since(self, data: bytes, first: int, instant: int) -> tuple[bytes, int]:
        """Of characters without a gap, the first complete at `first` ns: those from an instant on, and when the first
        of them was complete.
        """
        times = [first + self.offset(number * self.halves) for number in range(len(data))]
        missed = sum(at < instant for at in times)
        return data[missed:], times[missed] if missed < len(data) else first

    def offset(self, halves: int) -> int:
        """ns from the start of a run of characters to half bit `halves` of it, rounded to the nearest."""
        return (halves * self._numerator + self._half) // self._denominator

    def reach(self, count: int) -> tuple[int, int]:
        """For a run of `count` characters: ns from its start until the last one is complete, and until its end."""
        reach = self._reaches.get(count)
        if reach is None:
            reach = self.offset((count - 1) * self.halves) + self.sample, self.offset(count * self.halves)
            if len(self._reaches) < 8192:
                self._reaches[count] = reach
        return reach

    def __repr__(self) -> str:
        swapped = ", swapped" if self.inverted else ""
        return f"Setting({self.baud} Bd {self.format}, {self.ppm} ppm{swapped})"


@cache
def setting(baud: Fraction, format: CharFormat, ppm: float = 0.0, inverted: bool = False) -> Setting:
    """The setting with these values; equal values give the same object."""
    return Setting(baud, format, ppm, inverted)

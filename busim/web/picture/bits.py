"""The bits of a burst: start and end of each at its driver, its level, and the instant of its sample.

Half-bit n of a burst lies at start + (2*n*10**9 + d) // (2*d) with d = 2 x baud, so no rounded bit time is summed.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from busim.recording.trace import Setting


class Bit(NamedTuple):
    """`start` and `end`: ns at the driver. `level`: 1 mark, 0 space. `part`: start, a data bit (0 first), parity, stop.

    `sampled`: ns of its middle, where a receiver samples it, without the delay of the cable.
    """

    start: int
    end: int
    level: int
    part: str
    sampled: int


def bits(setting: Setting, start: int, data: bytes) -> Iterator[Bit]:
    """The bits of a burst, first to last; a start bit begins each character."""
    form, turn = setting.format, int(setting.inverted)
    double = 2 * setting.true_baud

    def at(half: int) -> int:
        return start + int((2 * half * 10**9 + double) // (2 * double))

    for number, value in enumerate(data):
        half = number * form.half_bits
        levels = [0, *((value >> bit) & 1 for bit in range(form.data_bits))]
        parts = ["start", *map(str, range(form.data_bits))]
        if form.parity != "N":
            levels.append(form.parity_bit(value))
            parts.append("parity")
        for level, part in zip(levels, parts, strict=True):
            yield Bit(at(half), at(half + 2), level ^ turn, part, at(half + 1))
            half += 2
        yield Bit(at(half), at(half + form.stop_halves), 1 ^ turn, "stop", at(half + 1))

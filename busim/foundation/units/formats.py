"""The character format of an asynchronous line: data bits, parity, stop bits."""

from __future__ import annotations

import re
from dataclasses import dataclass

from busim.foundation.errors import UserError

_PATTERN = re.compile(r"([5-8])([NEOMS])(1\.5|1|2)")
_STOP_HALVES = {"1": 2, "1.5": 3, "2": 4}
_STOP_NAMES = {halves: name for name, halves in _STOP_HALVES.items()}


@dataclass(frozen=True, slots=True)
class CharFormat:
    """Data bits (5-8), parity (N none, E even, O odd, M mark, S space) and stop bits, counted in half bits.

    Half bits, because a stop element may be 1.5 bits long: every instant of a character is a whole number of them.
    """

    data_bits: int
    parity: str
    stop_halves: int

    @classmethod
    def parse(cls, text: str) -> CharFormat:
        """Read `8N1`, `7E1`, `5N1.5`. Raises UserError."""
        match = _PATTERN.fullmatch(text.strip().upper())
        if match is None:
            raise UserError(
                "not a character format",
                found=repr(text),
                expected="data bits 5-8, parity N, E, O, M or S, stop bits 1, 1.5 or 2, as in 8N1 or 7E2",
                mend="write for example 8E1",
            )
        return cls(int(match[1]), match[2], _STOP_HALVES[match[3]])

    def __str__(self) -> str:
        return f"{self.data_bits}{self.parity}{_STOP_NAMES[self.stop_halves]}"

    @property
    def frame_bits(self) -> int:
        """Bits before the stop element: start, data, parity."""
        return 1 + self.data_bits + (self.parity != "N")

    @property
    def half_bits(self) -> int:
        """Length of a whole character in half bits (8N1 20, 8E1 22)."""
        return 2 * self.frame_bits + self.stop_halves

    @property
    def sample_halves(self) -> int:
        """Half bits from the start edge to the middle of the first stop bit, where a byte is complete (8N1 19)."""
        return 2 * self.frame_bits + 1

    def parity_bit(self, value: int) -> int:
        """The parity bit sent with `value` (0 or 1); raises KeyError with parity N."""
        ones = (value & ((1 << self.data_bits) - 1)).bit_count() & 1
        return {"E": ones, "O": 1 - ones, "M": 1, "S": 0}[self.parity]

    def levels(self, value: int) -> list[int]:
        """The levels of one character up to its stop element: start 0, data low bit first, parity."""
        bits = [0] + [(value >> n) & 1 for n in range(self.data_bits)]
        if self.parity != "N":
            bits.append(self.parity_bit(value))
        return bits

"""Blocks of all 256 values, compared where they arrive; and what they would be on a reversed pair."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import SequenceMatcher

from busim.foundation.units import CharFormat

VALUES = 256
SEEN = 9  # bits of a character whose flip shows in bytes: the start bit and 8 data bits
_STRIDES = (167, 89, 201, 37)  # odd, so that each orders all 256 values, with other neighbours


@dataclass(frozen=True, slots=True)
class Tally:
    """Characters sent, and of them those that came wrong, were lost, or came without being sent. `flipped`: wrong bits.

    `bits` of them whose flip would show; `errors`: wrong bits, and one for each character lost or added.
    """

    characters: int = 0
    flipped: int = 0
    lost: int = 0
    added: int = 0

    def __add__(self, other: Tally) -> Tally:
        return Tally(
            self.characters + other.characters, self.flipped + other.flipped, self.lost + other.lost,
            self.added + other.added,
        )  # fmt: skip

    @property
    def bits(self) -> int:
        return self.characters * SEEN

    @property
    def errors(self) -> int:
        return self.flipped + self.lost + self.added


def block(number: int) -> bytes:
    """All 256 values once; each block has another order."""
    stride = _STRIDES[number % len(_STRIDES)]
    return bytes((value * stride + 31 * number) & 0xFF for value in range(VALUES))


def compared(sent: bytes, came: bytes) -> Tally:
    """What became of the bytes: those in between equal runs came wrong as far as their numbers agree."""
    if sent == came:
        return Tally(len(sent))
    flipped = lost = added = 0
    for kind, first, last, start, end in SequenceMatcher(None, sent, came, autojunk=False).get_opcodes():
        if kind == "equal":
            continue
        both = min(last - first, end - start)
        flipped += sum((sent[first + n] ^ came[start + n]).bit_count() for n in range(both))
        lost += last - first - both
        added += end - start - both
    return Tally(len(sent), flipped, lost, added)


def reversed_pair(sent: bytes, came: bytes, format: CharFormat) -> bool:
    """Whether these bytes are what a receiver makes of the others with its two wires exchanged."""
    if not came or compared(sent, came).errors * 4 < len(sent):
        return False
    expected = _inverted(sent, format)
    return SequenceMatcher(None, expected, came, autojunk=False).ratio() > 0.9


def _inverted(sent: bytes, format: CharFormat) -> bytes:
    """The bytes read from inverted levels, in half bits; an idle line is then a space that never ends."""
    levels = [0] * 4
    for value in sent:
        levels += [1 - level for level in format.levels(value) for _ in range(2)]
        levels += [0] * format.stop_halves
    levels += [0] * 2 * format.half_bits
    came, at, low = bytearray(), 0, True
    while True:
        try:
            if low:
                at = levels.index(1, at)
            at = levels.index(0, at)
            if levels[at + 1]:
                continue
            came.append(sum(levels[at + 2 * bit + 3] << bit for bit in range(format.data_bits)))
            at += format.sample_halves
            low = not levels[at]
        except (ValueError, IndexError):
            return bytes(came)

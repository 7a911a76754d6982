"""A UART receiver written from its definition, for tests: levels over time in, characters out.

The definition: a change from mark to space begins a character if the level is space still in the middle of that bit;
data bits, parity and the first stop bit are read in their middles, counted from that change (Analog Devices / Maxim
tutorial 2141). A level that changes in the nanosecond of a sample is read as before the change: our own choice. After a
stop bit that was space the receiver waits for mark.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple


class Character(NamedTuple):
    """`at` the middle of the first stop bit, ns; `flags` 1 framing, 2 parity, 4 break, as in a trace."""

    at: int
    value: int
    flags: int


def characters(first: int, edges: Sequence[tuple[int, int]], baud: Fraction, form: str) -> list[Character]:
    """The characters that a receiver of this baud and format (as 8E1) reads from a wire that is at level `first` and
    changes at `edges`.

    A wire that is at space from the beginning falls at instant 0.
    """
    bits, parity = int(form[0]), form[1]
    changes = [(0, 0), *edges] if first == 0 else list(edges)
    times = [when for when, _ in changes]

    halves = [_nearest(number * Fraction(10**9) / (2 * baud)) for number in range(2 * bits + 6)]  # ns after the change

    def level(half_bits: int) -> int:
        place = bisect_left(times, fell + halves[half_bits])
        return changes[place - 1][1] if place else 1

    found: list[Character] = []
    ready, waits = -1, False
    for fell, after in changes:
        if after or fell < ready or (waits and fell == ready):
            continue
        if level(1):  # too short for a start bit
            ready, waits = fell + halves[1], False
            continue
        read = [level(2 * place + 3) for place in range(bits + (parity != "N") + 1)]
        value = sum(one << place for place, one in enumerate(read[:bits]))
        flags = 2 if parity != "N" and read[bits] != _parity(parity, value) else 0
        if not read[-1]:
            flags |= 1 if any(read) else 5
        ready = fell + halves[2 * len(read) + 1]
        waits = not read[-1]
        found.append(Character(ready, value, flags))
    return found


def _nearest(number: Fraction) -> int:
    return int(number + Fraction(1, 2))


def _parity(kind: str, value: int) -> int:
    odd = value.bit_count() % 2
    return {"E": odd, "O": 1 - odd, "M": 1, "S": 0}[kind]


def wire(vcd: Path, name: str) -> tuple[int, list[tuple[int, int]]]:
    """The first level of a wire of a VCD file, and its changes: (ns of the run, level)."""
    text = vcd.read_text()
    (code,) = re.findall(rf"\$var wire 1 (\S+) {re.escape(name)} \$end", text)
    at, changes = 0, []
    for word in text.partition("$enddefinitions $end")[2].split():
        if word[0] == "#":
            at = int(word[1:])
        elif word[0] in "01" and word[1:] == code:
            changes.append((at - 1_000_000, int(word[0])))
    return changes[0][1], changes[1:]

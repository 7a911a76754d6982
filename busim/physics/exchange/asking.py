"""What every master works out before it asks: which values go together, how long to wait, when to ask again.

The world's masters and the budget must agree on these to the nanosecond, so they stand here, once. The times take
numbers or arrays; whole numbers give whole numbers.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import overload

from busim.physics.exchange.packets import Numbers

_MARGIN = 3_000_000  # ns added to every computed time-out, and a quarter of it on top


def runs(keys: Iterable[int], longest: int) -> list[tuple[int, int]]:
    """Neighbouring keys as (first, count), each at most `longest` long: each is read in one exchange."""
    found: list[tuple[int, int]] = []
    for key in sorted(keys):
        if found and key == found[-1][0] + found[-1][1] and found[-1][1] < longest:
            found[-1] = (found[-1][0], found[-1][1] + 1)
        else:
            found.append((key, 1))
    return found


@overload
def time_out(wire: int, silence: int, turnaround: int, packing: int, latency: int) -> int: ...
@overload
def time_out(wire: Numbers, silence: Numbers, turnaround: Numbers, packing: Numbers, latency: Numbers) -> Numbers: ...
def time_out(wire: Numbers, silence: Numbers, turnaround: Numbers, packing: Numbers, latency: Numbers) -> Numbers:
    """ns a master waits: wire time and latency of both ways, silence, slowest turnaround, packing, and a margin."""
    return (wire + silence + turnaround + packing + 2 * latency) * 5 // 4 + _MARGIN


@overload
def drain(pause: int, packing: int, latency: int) -> int: ...
@overload
def drain(pause: Numbers, packing: Numbers, latency: Numbers) -> Numbers: ...
def drain(pause: Numbers, packing: Numbers, latency: Numbers) -> Numbers:
    """ns of quiet a master waits for after a failure, so that a late reply does not fall into the next exchange."""
    return pause + packing + latency

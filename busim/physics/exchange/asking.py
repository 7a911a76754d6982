"""Values that a master computes before it polls: keys per exchange, time-out, pause after a failure.

Simulated masters and the budget must agree on these to the nanosecond, so they are here, once. The functions of time
take numbers or arrays; whole numbers give whole numbers.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import overload

from busim.physics.exchange.packets import Numbers

_MARGIN = 3_000_000  # ns added to every computed time-out, and a quarter of it on top


def runs(keys: Iterable[int], longest: int) -> list[tuple[int, int]]:
    """Runs of neighbouring keys as (first, count), each with at most `longest` keys. One exchange reads one run."""
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
    """Time-out in ns: wire time, latency of both ways, silence, slowest turnaround, packing, and a margin."""
    return (wire + silence + turnaround + packing + 2 * latency) * 5 // 4 + _MARGIN


@overload
def drain(pause: int, packing: int, latency: int) -> int: ...
@overload
def drain(pause: Numbers, packing: Numbers, latency: Numbers) -> Numbers: ...
def drain(pause: Numbers, packing: Numbers, latency: Numbers) -> Numbers:
    """Silence in ns that a master waits for after a failure, so that a late reply cannot hit the next exchange."""
    return pause + packing + latency

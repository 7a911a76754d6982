"""Which level wins on a pair where drivers disagree. One rule for the line and for whatever draws it from records.

RS-485 leaves it open: two drivers that fight give a level between the thresholds, and what a receiver makes of it
depends on the parts and the cable (common practice, no source). So it is a parameter:

- `space-wins`: space, whatever the other drivers do.
- `nearer-wins`: the level of the driver nearest to the receiver; space where several are equally near.
- `random`: a fight is a set of drivers, each with the level that it has driven since an instant of its own. One coin
  decides it, keyed by just that. So a fight has one outcome wherever on the cable these levels meet; another one begins
  with the next edge of any of the drivers. Receivers a metre apart see the same fights, 5 ns earlier or later.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

SPACE = 0
_MASK = (1 << 64) - 1


class Driven(NamedTuple):
    """What one driver does to the pair at a receiver. `number`: its station along the line; `level`: 1 mark, 0 space;
    `since`: when its driver took it (ns, at the driver); `delay`: from there to the receiver (ns).
    """

    number: int
    level: int
    since: int
    delay: int


def winner(contention: str, key: int, drivers: Collection[Driven]) -> int:
    """The level of the pair where these drivers, of which there is at least one, drive it. `key`: the line's coin."""
    levels = {driver.level for driver in drivers}
    if len(levels) == 1:
        return levels.pop()
    if contention == "space-wins":
        return SPACE
    if contention == "random":
        fight = sorted((driver.number, driver.since) for driver in drivers)
        return coin(key, *(fact for driver in fight for fact in driver))
    nearest = min(driver.delay for driver in drivers)
    return min(driver.level for driver in drivers if driver.delay == nearest)


def coin(key: int, *facts: int) -> int:
    """0 or 1 for these facts, in every run and however often it is asked (SplitMix64's finaliser over key and facts).

    Several receivers look at the same fought-over level in an order that depends on the path taken: a draw from a
    random stream would give each of them another line.
    """
    z = key
    for fact in facts:
        z = (z + (fact + 1) * 0x9E3779B97F4A7C15) & _MASK
        z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & _MASK
        z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & _MASK
        z ^= z >> 31
    return z & 1

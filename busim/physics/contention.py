"""The level that wins on a pair when drivers disagree. The simulated line and the drawing of records share this rule.

RS-485 leaves it open: two drivers that fight give a level between the thresholds. The value that a receiver reads then
depends on the parts and the cable (common practice, no source). So it is a parameter:

- `space-wins`: space, whatever the other drivers do.
- `nearer-wins`: the level of the driver nearest to the receiver; space if several are equally near.
- `random`: a fight is a set of drivers, each with its level and the instant at which it took that level. One coin,
  keyed by these facts, decides the fight. So its outcome is the same everywhere on the cable. The next edge of any of
  the drivers starts a new fight. Receivers a metre apart see the same fights, 5 ns earlier or later.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

SPACE = 0
_MASK = (1 << 64) - 1


class Driven(NamedTuple):
    """The level of one driver at a receiver. `number`: its station along the line; `level`: 1 mark, 0 space;
    `since`: instant at which the driver took it (ns, at the driver); `delay`: from there to the receiver (ns).
    """

    number: int
    level: int
    since: int
    delay: int


def winner(contention: str, key: int, drivers: Collection[Driven]) -> int:
    """The level of the pair under these drivers, at least one. `key`: the coin of the line."""
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
    """0 or 1, a pure function of key and facts (SplitMix64's finaliser over both).

    Several receivers look at one contended level, in an order that depends on the path taken. Draws from a random
    stream would give them different levels.
    """
    z = key
    for fact in facts:
        z = (z + (fact + 1) * 0x9E3779B97F4A7C15) & _MASK
        z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & _MASK
        z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & _MASK
        z ^= z >> 31
    return z & 1

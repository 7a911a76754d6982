"""Levels over time, as one receiver sees them, and the disturbances that change them."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from typing import Final

MARK: Final = 1  # the states of a driver on the pair: two levels, or off
SPACE: Final = 0
OFF: Final = 2


@dataclass(frozen=True, slots=True)
class Pulse:
    """A disturbance of the pair from `start` to `end` ns. `floating`: acts only while nobody drives."""

    start: int
    end: int
    floating: bool


class Wave:
    """Levels over time: `levels[n]` holds from `times[n]`; `before` holds before the first."""

    __slots__ = ("before", "levels", "times")

    def __init__(self, before: int) -> None:
        self.before = before
        self.times: list[int] = []
        self.levels: list[int] = []

    def set(self, time: int, level: int) -> None:
        """Set the level from `time` on; a time must not lie before the last one."""
        if (self.levels[-1] if self.levels else self.before) != level:
            self.times.append(time)
            self.levels.append(level)

    def at(self, time: int) -> int:
        """The level that a sample at `time` reads. At the very nanosecond of a change that is the level before.

        So a sample does not depend on the order of events within that nanosecond, and no reply to it can change it.
        """
        index = bisect_left(self.times, time)
        return self.levels[index - 1] if index else self.before

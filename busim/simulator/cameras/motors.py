"""Motors: positions as functions of time.

A motion is a line in time from its start, so a position is computed on request and nothing ticks in between.
"""

from __future__ import annotations

from dataclasses import dataclass

from busim.plan.models import Motor


@dataclass(frozen=True, slots=True)
class Motion:
    """From `start` at `since` ns towards `target` with `speed` counts per second, until `until` ns at the latest."""

    start: int
    since: int
    target: int
    speed: float
    until: int | None

    def at(self, now: int) -> int:
        """The position at an instant; whole counts, the last one passed."""
        now = now if self.until is None else min(now, self.until)
        way = int(self.speed * max(0, now - self.since) / 1e9)
        if self.target >= self.start:
            return min(self.start + way, self.target)
        return max(self.start - way, self.target)

    @property
    def end(self) -> int:
        """When it stops, ns."""
        there = self.since + -int(-abs(self.target - self.start) * 1e9 // self.speed)
        while self.at(there) != self.target and (self.until is None or there < self.until):
            there += 1  # the rounded rest
        return there if self.until is None else min(there, self.until)


def towards(motor: Motor, start: int, target: int, now: int) -> Motion:
    """The motion towards a written position: full speed until it is there."""
    return Motion(start, now, target, motor.speed, None)


def driven(motor: Motor, start: int, target: int, percent: int, now: int) -> Motion:
    """The motion after a start: to the end of its range, unless stopped, or not started again in time."""
    until = now + motor.dead_man if motor.dead_man else None
    return Motion(start, now, target, motor.speed * abs(percent) / 100, until)

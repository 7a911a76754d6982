"""The regularity of paced polls if several groups share one master.

A master asks what is due first; a poll that comes late keeps its place in time unless it is answered after it was due
again. So a slow group that is due makes a whole round of a fast group late. A poll that is so late that it loses its
place takes another one, until it has a place where it is not late: within minutes or hours, polls drift apart. No
formula gives the effect, so the timetable is written out here: mean times, poll by poll, in the master's order, first
with long disturbances, until the places are found.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from heapq import heapreplace
from typing import NamedTuple

_MOST_POLLS = 2500  # of each of the two parts of a timetable
_SETTLING = 40  # times the slowest interval, with disturbances
_ROUNDS = 30  # times the slowest interval, without
_FIRST_ROUNDS = 10  # the same soon after a start: nothing is left to chance there
_DISTURBANCES = 3  # within the slowest interval
_GOLDEN = (math.sqrt(5) - 1) / 2  # its multiples leave the most even gaps: places without a pattern, and no chance


class Slot(NamedTuple):
    """One poll. ns: the wanted interval (0: without rest), the time that the master is inside it, and that until its
    answer."""

    every: float
    occupied: float
    answered: float


class Regular(NamedTuple):
    """How regular one poll is. ns: `intervals`: the times between two of it, one after the other, few or none where it
    is seldom; `late`: how long it waits for polls that were due before it, on average."""

    intervals: list[float]
    late: float


def regularity(slots: Sequence[Slot], disturbance: float | None = None) -> list[Regular]:
    """How regular each poll is.

    `disturbance`: ns for which the master may be kept from polling at a time, by commands and lost exchanges in a row;
    None: polls have not yet found their places, as after a start, where all are due at once.
    """
    table = _Timetable(slots)
    slowest = max((slot.every for slot in slots), default=0.0)
    if disturbance is None:
        table.written(slowest)
    else:
        table.written(_SETTLING * slowest, disturbance, slowest / _DISTURBANCES)
    table.begun, table.late = [[] for _ in slots], [0.0] * len(slots)
    table.written(table.now + (_FIRST_ROUNDS if disturbance is None else _ROUNDS) * slowest)
    return [
        Regular([after - before for before, after in itertools.pairwise(begun)], late / max(1, len(begun)))
        for begun, late in zip(table.begun, table.late, strict=True)
    ]


def settles(slots: Sequence[Slot], disturbance: float) -> bool:
    """Whether a poll that waits for all others, one of them twice, and a disturbance may lose its place, so that places
    change with time."""
    paced = [slot.every for slot in slots if slot.every]
    times = [slot.occupied for slot in slots]
    return bool(paced) and sum(times) + max(times) + disturbance > min(paced)


def relative_variance(values: Sequence[float]) -> float:
    """Variance over the squared mean; 0 where there are too few values to tell."""
    if len(values) < 2:
        return 0.0
    mean = sum(values) / len(values)
    return sum((value - mean) ** 2 for value in values) / len(values) / mean**2


class _Timetable:
    """`now`: ns; `begun`: when each poll began; `late`: how late, all of these together."""

    def __init__(self, slots: Sequence[Slot]) -> None:
        self._slots = slots
        self._due = [(0.0, number, number) for number in range(len(slots))]
        self._queued = len(slots)
        self.now = 0.0
        self.begun: list[list[float]] = [[] for _ in slots]
        self.late = [0.0] * len(slots)

    def written(self, until: float, disturbance: float = 0.0, apart: float = math.inf) -> None:
        """Goes on until then, with a disturbance about every `apart` ns."""
        slots, due, begun, late, now = self._slots, self._due, self.begun, self.late, self.now
        met, next_one, queued = 0, now + apart if disturbance else math.inf, self._queued
        for _ in range(_MOST_POLLS):
            if now > until:
                break
            if now >= next_one:
                met += 1
                now += disturbance
                next_one = (met + 1 + _GOLDEN * met % 1) * apart
            wanted, _, number = due[0]
            every, occupied, answered = slots[number]
            start = now if now > wanted else wanted
            begun[number].append(start)
            late[number] += start - wanted
            queued += 1
            there = start + answered
            again = wanted + every
            heapreplace(due, (again if every and again > there else there, queued, number))
            now = start + occupied
        self.now, self._queued = now, queued

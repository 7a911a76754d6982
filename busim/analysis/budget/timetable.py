"""The regularity of paced polls if several groups share one master.

A master asks what is due first; a poll that comes late keeps its place in time unless it is answered after it was due
again. So a slow group that is due makes a whole round of a fast group late. No formula gives the effect, so the
timetable is written out here: mean times, poll by poll, in the master's order.
"""

from __future__ import annotations

from collections.abc import Sequence
from heapq import heappop, heappush
from typing import NamedTuple

_MOST_POLLS = 4000  # of a timetable
_ROUNDS = 20  # of the slowest poll; the first one is left out


class Slot(NamedTuple):
    """One poll. ns: the wanted interval (0: without rest), the time that the master is inside it, and that until its
    answer."""

    every: float
    occupied: float
    answered: float


def irregularity(slots: Sequence[Slot]) -> list[float]:
    """Of each poll: variance of the time between two of it over its squared mean; 0 where it was too seldom to tell."""
    due: list[tuple[float, int, int]] = []
    for number in range(len(slots)):
        heappush(due, (0.0, number, number))
    last: dict[int, float] = {}
    intervals: list[list[float]] = [[] for _ in slots]
    now, queued = 0.0, len(slots)
    slowest = max((slot.every for slot in slots), default=0.0)
    for _ in range(_MOST_POLLS):
        if now > _ROUNDS * slowest:
            break
        wanted, _, number = heappop(due)
        slot, start = slots[number], max(now, wanted)
        if number in last and start > slowest:
            intervals[number].append(start - last[number])
        last[number] = start
        queued += 1
        answered = start + slot.answered
        heappush(due, (max(wanted + slot.every, answered) if slot.every else answered, queued, number))
        now = start + slot.occupied
    return [_relative_variance(found) for found in intervals]


def _relative_variance(values: Sequence[float]) -> float:
    if len(values) < 2:
        return 0.0
    mean = sum(values) / len(values)
    return sum((value - mean) ** 2 for value in values) / len(values) / mean**2

"""Who is asked what, counted: polls and moves that take the same times but for the way to their camera.

A line has few kinds of cameras and few lengths of exchanges, so most polls are alike; what differs is the propagation
along the cable, which an answered exchange has twice and nothing else has. So sums over many polls are sums over a few
kinds, with how many they are, how far away together, and the sum of the squares of that.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import NamedTuple

from busim.budget.case import Case
from busim.budget.timing import Asked, asked_of


class Row(NamedTuple):
    """A poll or move: `kind` counts in `Layout.kinds`; `way`: ns of propagation there and back."""

    kind: int
    unit: int
    way: float


@dataclass(slots=True)
class Sum:
    """Polls or moves of one kind: how many (or their rate), ways and squares of ways weighted by it."""

    count: float = 0.0
    way: float = 0.0
    square: float = 0.0

    def add(self, way: float, weight: float = 1.0) -> None:
        self.count += weight
        self.way += weight * way
        self.square += weight * way * way

    def times(self, factor: float) -> Sum:
        return Sum(self.count * factor, self.way * factor, self.square * factor)


@dataclass(slots=True)
class Layout:
    """`polls`, `moves`: a row for each of the case's. The rest is counted from them.

    `alive`: whether each poll's camera answers; `living`: the numbers of those polls; `paces`: by wanted time between
    two and kind, of living ones; `dead`: unit to how many polls of each kind, of cameras that never answer.
    `moved`: by kind, of moves to cameras that answer, weighted by their rate per ns; `lost`: of the others.
    """

    kinds: list[Asked]
    polls: list[Row]
    moves: list[Row]
    alive: list[bool]
    living: list[int]
    paces: dict[tuple[float, int], Sum] = field(default_factory=dict)
    dead: dict[int, Counter[int]] = field(default_factory=dict)
    moved: dict[int, Sum] = field(default_factory=dict)
    lost: dict[int, float] = field(default_factory=dict)
    rate: float = 0.0
    moving: int = 0


def layout(case: Case) -> Layout:
    """Counts the polls and moves of a case. Nothing of it depends on baud, packing, latency, gap or time-outs."""
    kinds: dict[tuple[object, ...], int] = {}
    asked: list[Asked] = []
    rows: list[list[Row]] = []
    marks = [(unit.turnaround, unit.lead, unit.hold, unit.baud, unit.ppm) for unit in case.units]
    numbers: dict[tuple[object, ...], int] = {}
    marked = [numbers.setdefault(mark, len(numbers)) for mark in marks]
    for ones in (case.polls, case.moves):
        found = []
        for one in ones:
            key = (marked[one.unit], one.request, one.reply, one.escapes)
            kind = kinds.get(key)
            if kind is None:
                kind = kinds[key] = len(asked)
                asked.append(asked_of(case, one))
            found.append(Row(kind, one.unit, 2 * case.units[one.unit].distance))
        rows.append(found)
    return relaid(asked, case, rows[0], rows[1])


def relaid(kinds: list[Asked], case: Case, polls: list[Row], moves: list[Row]) -> Layout:
    """The polls and moves of a case, whose rows are known, counted."""
    troubled = [bool(unit.trouble) for unit in case.units]
    alive = [not troubled[row.unit] for row in polls]
    made = Layout(kinds, polls, moves, alive, [number for number, one in enumerate(alive) if one])
    paces, moved, lost = made.paces, made.moved, made.lost
    for poll, (kind, unit, way) in zip(case.polls, polls, strict=True):
        if troubled[unit]:
            made.dead.setdefault(unit, Counter())[kind] += 1
        else:
            key = poll.every, kind
            if key not in paces:
                paces[key] = Sum()
            paces[key].add(way)
    made.dead = dict(sorted(made.dead.items()))
    for move, (kind, unit, way) in zip(case.moves, moves, strict=True):
        rate = move.rate / 1e9
        if not rate:
            continue
        made.rate += rate
        made.moving += 1
        if troubled[unit]:
            lost[kind] = lost.get(kind, 0.0) + rate
        else:
            if kind not in moved:
                moved[kind] = Sum()
            moved[kind].add(way, rate)
    return made

"""Who is asked what, counted: polls and moves that take the same times but for the way to their camera.

A line has few kinds of cameras and few lengths of exchanges, so most polls are alike; what differs is the propagation
along the cable, which an answered exchange has twice and nothing else has. So sums over many polls are sums over a few
kinds, with how many they are, how far away together, and the sum of the squares of that.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
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

    def times(self, factor: float) -> Sum:
        return Sum(self.count * factor, self.way * factor, self.square * factor)


@dataclass(slots=True)
class Layout:
    """`polls`, `moves`: a row for each of the case's. The rest is counted from them.

    `alike`: the kind of each unit; `alive`: whether each poll's camera answers; `living`: the numbers of those polls;
    `paces`: by wanted time between two and kind, of living ones; `dead`: unit to how many polls of each kind, of
    cameras that never answer. `moved`: by kind, of moves to cameras that answer, weighted by their rate per ns; `lost`:
    of the others.
    """

    kinds: list[Asked]
    polls: list[Row]
    moves: list[Row]
    alike: list[int]
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
    numbers: dict[tuple[object, ...], int] = {}
    alike = []
    for unit in case.units:
        baud = None if unit.baud is case.baud else unit.baud  # fractions take long to be told apart
        mark = unit.turnaround.low, unit.turnaround.high, unit.lead, unit.hold, baud, unit.ppm
        alike.append(numbers.setdefault(mark, len(numbers)))
    for ones in (case.polls, case.moves):
        found = []
        for one in ones:
            key = (alike[one.unit], one.request, one.reply, one.escapes)
            kind = kinds.get(key)
            if kind is None:
                kind = kinds[key] = len(asked)
                asked.append(asked_of(case, one))
            found.append(Row(kind, one.unit, 2 * case.units[one.unit].distance))
        rows.append(found)
    return relaid(asked, case, rows[0], rows[1], alike)


def relaid(
    kinds: list[Asked], case: Case, polls: list[Row], moves: list[Row], alike: list[int], gone: Collection[int] = ()
) -> Layout:
    """The polls and moves of a case, whose rows are known, counted. `gone`: units that never answer, besides."""
    troubled = [bool(unit.trouble) or number in gone for number, unit in enumerate(case.units)]
    alive = [not troubled[row.unit] for row in polls]
    made = Layout(kinds, polls, moves, alike, alive, [number for number, one in enumerate(alive) if one])
    paces, moved, lost = made.paces, made.moved, made.lost
    for poll, (kind, unit, way) in zip(case.polls, polls, strict=True):
        if troubled[unit]:
            made.dead.setdefault(unit, Counter())[kind] += 1
            continue
        key = poll.every, kind
        one = paces.get(key)
        if one is None:
            one = paces[key] = Sum()
        one.count += 1
        one.way += way
        one.square += way * way
    made.dead = dict(sorted(made.dead.items()))
    for move, (kind, unit, way) in zip(case.moves, moves, strict=True):
        rate = move.rate / 1e9
        if not rate:
            continue
        made.rate += rate
        made.moving += 1
        if troubled[unit]:
            lost[kind] = lost.get(kind, 0.0) + rate
            continue
        one = moved.get(kind)
        if one is None:
            one = moved[kind] = Sum()
        one.count += rate
        one.way += rate * way
        one.square += rate * way * way
    return made

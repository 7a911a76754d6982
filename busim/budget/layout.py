"""Who is asked what, counted: polls and moves that take the same times but for the way to their camera.

A line has few kinds of cameras and few lengths of exchanges, so most polls are alike; what differs is the propagation
along the cable, which an answered exchange has twice and nothing else has. So sums over many polls are sums over a few
kinds, with how many they are, how far away together, and the sum of the squares of that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

from busim.budget.case import Case, Poll
from busim.budget.timing import Asked, asked_of

Key = TypeVar("Key")


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


class Share(NamedTuple):
    """What one unit is asked: `polls`: how many by wanted time between two and kind; `moves`: per ns, by kind; `way`:
    as in `Row`; `trouble`: whether it never answers."""

    polls: dict[tuple[float, int], int]
    moves: dict[int, float]
    way: float
    trouble: bool


@dataclass(slots=True)
class Layout:
    """`polls`, `moves`: a row for each of the case's. The rest is counted from them.

    `alike`: the kind of each unit; `shares`: what each is asked; `alive`: whether each poll's camera answers; `living`:
    the numbers of those polls; `paces`: by wanted time between two and kind, of living ones; `dead`: unit to how many
    polls of each kind, of cameras that never answer. `moved`: by kind, of moves to cameras that answer, weighted by
    their rate per ns; `lost`: of the others; `rate`: of all moves.
    """

    kinds: list[Asked]
    polls: list[Row]
    moves: list[Row]
    alike: list[int]
    shares: list[Share]
    alive: list[bool]
    living: list[int]
    paces: dict[tuple[float, int], Sum]
    dead: dict[int, dict[int, int]]
    moved: dict[int, Sum]
    lost: dict[int, float]
    rate: float


def layout(case: Case) -> Layout:
    """Counts the polls and moves of a case. Nothing of it depends on baud, packing, latency, gap or time-outs."""
    kinds: dict[tuple[int, int, int, int], int] = {}
    asked: list[Asked] = []
    rows: list[list[Row]] = []
    known: dict[tuple[int, int], Row] = {}
    numbers: dict[tuple[object, ...], int] = {}
    alike = []
    for unit in case.units:
        baud = None if unit.baud is case.baud else unit.baud  # fractions take long to be told apart
        mark = unit.turnaround.low, unit.turnaround.high, unit.lead, unit.hold, baud, unit.ppm
        alike.append(numbers.setdefault(mark, len(numbers)))
    for ones in (case.polls, case.moves):
        found = []
        for one in ones:
            number = one.unit
            key = (alike[number], one.request, one.reply, one.escapes)
            kind = kinds.get(key)
            if kind is None:
                kind = kinds[key] = len(asked)
                asked.append(asked_of(case, one))
            row = known.get((kind, number))
            if row is None:
                row = known[kind, number] = Row(kind, number, 2 * case.units[number].distance)
            found.append(row)
        rows.append(found)
    polls, moves = rows
    shares = [Share({}, {}, 2 * unit.distance, bool(unit.trouble)) for unit in case.units]
    _share_polls(shares, case.polls, polls)
    for move, row in zip(case.moves, moves, strict=True):
        if move.rate:
            moved = shares[row.unit].moves
            moved[row.kind] = moved.get(row.kind, 0.0) + move.rate / 1e9
    return _counted(asked, polls, moves, alike, shares)


def _share_polls(shares: list[Share], polls: Sequence[Poll], rows: list[Row]) -> None:
    """Counts each poll at the unit that it asks."""
    for poll, row in zip(polls, rows, strict=True):
        asked, key = shares[row.unit].polls, (poll.every, row.kind)
        asked[key] = asked.get(key, 0) + 1


def _counted(
    kinds: list[Asked], polls: list[Row], moves: list[Row], alike: list[int], shares: list[Share]
) -> Layout:  # fmt: skip
    """What the units are asked added up."""
    moved: dict[int, Sum] = {}
    lost: dict[int, float] = {}
    rate = 0.0
    for _, own, way, trouble in shares:
        rate += sum(own.values())
        if not trouble:
            _add(moved, own, way)
            continue
        for kind, often in own.items():
            lost[kind] = lost.get(kind, 0.0) + often
    return Layout(kinds, polls, moves, alike, shares, *_polls_counted(polls, shares), moved, lost, rate)


def _polls_counted(
    polls: list[Row], shares: list[Share]
) -> tuple[list[bool], list[int], dict[tuple[float, int], Sum], dict[int, dict[int, int]]]:
    """`alive`, `living`, `paces` and `dead` of a layout."""
    alive = [not shares[row.unit].trouble for row in polls]
    living = [number for number, one in enumerate(alive) if one]
    paces: dict[tuple[float, int], Sum] = {}
    dead: dict[int, dict[int, int]] = {}
    for unit, (asked, _, way, trouble) in enumerate(shares):
        if not trouble:
            _add(paces, asked, way)
            continue
        for (_, kind), count in asked.items():
            probed = dead.setdefault(unit, {})
            probed[kind] = probed.get(kind, 0) + count
    return alive, living, paces, dead


def _add(sums: dict[Key, Sum], counts: Mapping[Key, float], way: float) -> None:
    """Adds so many of each, all as far away."""
    for key, count in counts.items():
        one = sums.get(key)
        if one is None:
            one = sums[key] = Sum()
        one.count += count
        one.way += count * way
        one.square += count * way * way

"""The requests of a case, counted by kind: polls and moves with equal times except for the way to their camera.

A line has few kinds of cameras and few lengths of exchanges, so most polls are alike; what differs is the propagation
along the cable, which an answered exchange has twice and nothing else has. So sums over many polls are sums over a few
kinds, with how many they are, how far away together, and the sum of the squares of that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

from busim.analysis.budget.case import Case, Move, Poll
from busim.analysis.budget.timing import Asked, asked_of

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
    rows = _Rows(case)
    shares = [Share({}, {}, 2 * unit.distance, bool(unit.trouble)) for unit in case.units]
    polls, moves, alive = [], [], []
    for poll in case.polls:
        row = rows.of(poll)
        share, key = shares[row.unit], (poll.every, row.kind)
        share.polls[key] = share.polls.get(key, 0) + 1
        polls.append(row)
        alive.append(not share.trouble)
    for move in case.moves:
        row = rows.of(move)
        moves.append(row)
        if move.rate:
            moved = shares[row.unit].moves
            moved[row.kind] = moved.get(row.kind, 0.0) + move.rate / 1e9
    living = [number for number, one in enumerate(alive) if one]
    return Layout(rows.kinds, polls, moves, rows.alike, shares, alive, living, *_summed(shares))


class _Rows:
    """The rows of a case in the making: polls and moves of one unit that are as long share one."""

    def __init__(self, case: Case) -> None:
        self._case = case
        self.alike = _alike(case)
        self.kinds: list[Asked] = []
        self._numbers: dict[tuple[int, float, float, float], int] = {}
        self._known: dict[tuple[int, float, float, float], Row] = {}

    def of(self, one: Poll | Move) -> Row:
        request, reply, escapes = one.request, one.reply, one.escapes
        known = one.unit, request, reply, escapes
        row = self._known.get(known)
        if row is None:
            key = self.alike[one.unit], request, reply, escapes
            kind = self._numbers.get(key)
            if kind is None:
                kind = self._numbers[key] = len(self.kinds)
                self.kinds.append(asked_of(self._case, one))
            row = self._known[known] = Row(kind, one.unit, 2 * self._case.units[one.unit].distance)
        return row


def _alike(case: Case) -> list[int]:
    """The kind of each unit: those of one answer in the same time."""
    numbers: dict[tuple[object, ...], int] = {}
    found = []
    for unit in case.units:
        baud = None if unit.baud is case.baud else unit.baud  # fractions take long to be told apart
        mark = unit.turnaround.low, unit.turnaround.high, unit.lead, unit.hold, baud, unit.ppm
        found.append(numbers.setdefault(mark, len(numbers)))
    return found


def _summed(
    shares: list[Share],
) -> tuple[dict[tuple[float, int], Sum], dict[int, dict[int, int]], dict[int, Sum], dict[int, float], float]:
    """`paces`, `dead`, `moved`, `lost` and `rate` of a layout: what the units are asked added up."""
    paces: dict[tuple[float, int], Sum] = {}
    dead: dict[int, dict[int, int]] = {}
    moved: dict[int, Sum] = {}
    lost: dict[int, float] = {}
    rate = 0.0
    for unit, (polls, moves, way, trouble) in enumerate(shares):
        rate += sum(moves.values())
        if not trouble:
            _add(paces, polls, way)
            _add(moved, moves, way)
            continue
        for (_, kind), count in polls.items():
            probed = dead.setdefault(unit, {})
            probed[kind] = probed.get(kind, 0) + count
        for kind, often in moves.items():
            lost[kind] = lost.get(kind, 0.0) + often
    return paces, dead, moved, lost, rate


def _add(sums: dict[Key, Sum], counts: Mapping[Key, float], way: float) -> None:
    """Adds so many of each, all as far away."""
    for key, count in counts.items():
        one = sums.get(key)
        if one is None:
            one = sums[key] = Sum()
        one.count += count
        one.way += count * way
        one.square += count * way * way

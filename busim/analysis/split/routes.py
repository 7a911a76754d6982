"""The shortest cable past all stations of a line, with free ends or one fixed end.

A line has no branches, so its cable is an open path. Up to `EXACT` stations the path is the shortest one (dynamic
programming over subsets: Held and Karp 1962, Bellman 1962, from memory). Beyond that it starts as nearest neighbours
from every station, and is improved by reversing segments (2-opt: Croes 1958, from memory) and moving single stations
until neither helps.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

EXACT = 9  # stations


def subsets(metres: Array, first: int | None = None) -> Array:
    """[mask, last]: the length of the shortest path through exactly the stations of the mask that ends on `last`.

    `metres`: [station, station], inf without a way. `first`: the start of every path, None for any.
    """
    count = len(metres)
    best = np.full((1 << count, count), np.inf)
    for station in range(count):
        if first is None or station == first:
            best[1 << station, station] = 0.0
    for mask in range(1, 1 << count):
        row = best[mask]
        if np.isinf(row).all():
            continue
        onward = (row[:, np.newaxis] + metres).min(axis=0)
        for station in range(count):
            bit = 1 << station
            if not mask & bit and onward[station] < best[mask | bit, station]:
                best[mask | bit, station] = onward[station]
    return best


def shortest(metres: Array, first: int | None = None) -> tuple[list[int], float]:
    """An order of all stations and its length, inf if no path passes all of them; the shortest for at most `EXACT` of
    them.
    """
    count = len(metres)
    if count <= EXACT:
        return _exact(metres, first)
    starts = range(count) if first is None else (first,)
    found = min((_nearest(metres, start) for start in starts), key=lambda order: length(metres, order))
    order = _mended(metres, found, first is not None)
    return order, length(metres, order)


def length(metres: Array, order: list[int]) -> float:
    """The length of the path in this order."""
    return float(sum(metres[one, other] for one, other in pairwise(order)))


def _exact(metres: Array, first: int | None) -> tuple[list[int], float]:
    best = subsets(metres, first)
    mask = len(best) - 1
    last = int(best[mask].argmin())
    total, order = float(best[mask, last]), [last]
    if np.isinf(total):
        return list(range(len(metres))), total
    while mask & (mask - 1):
        mask &= ~(1 << last)
        last = int((best[mask] + metres[:, last]).argmin())
        order.append(last)
    return order[::-1], total


def _nearest(metres: Array, start: int) -> list[int]:
    order, left = [start], set(range(len(metres))) - {start}
    while left:
        order.append(min(left, key=lambda station: (metres[order[-1], station], station)))
        left.remove(order[-1])
    return order


def _mended(metres: Array, order: list[int], fixed: bool) -> list[int]:
    """The path after every reversal of a segment and every move of a station that shortens it."""
    rows = metres.tolist()
    better = True
    while better:
        better = _turned(rows, order, int(fixed)) or _moved(rows, order, int(fixed))
    return order


def _turned(rows: list[list[float]], order: list[int], begin: int) -> bool:
    """Reverse one segment in place; returns whether one was found. A segment at an end changes only one joint."""
    count = len(order)
    for start in range(begin, count - 1):
        for end in range(start + 1, count):
            gain = 0.0
            if start:
                gain += rows[order[start - 1]][order[start]] - rows[order[start - 1]][order[end]]
            if end < count - 1:
                gain += rows[order[end]][order[end + 1]] - rows[order[start]][order[end + 1]]
            if gain > 1e-9:
                order[start : end + 1] = order[start : end + 1][::-1]
                return True
    return False


def _moved(rows: list[list[float]], order: list[int], begin: int) -> bool:
    """Move one station, in place; returns whether one was found."""
    for at in range(begin, len(order)):
        rest = order[:at] + order[at + 1 :]
        spared = spare(rows, order, at)
        place, more = insertion(rows, rest, order[at], begin)
        if spared - more > 1e-9:
            rest.insert(place, order[at])
            order[:] = rest
            return True
    return False


def spare(rows: list[list[float]], order: list[int], at: int) -> float:
    """How much shorter the path is without the station at this place."""
    before = rows[order[at - 1]][order[at]] if at else 0.0
    behind = rows[order[at]][order[at + 1]] if at < len(order) - 1 else 0.0
    return before + behind - (rows[order[at - 1]][order[at + 1]] if 0 < at < len(order) - 1 else 0.0)


def insertion(rows: list[list[float]], order: list[int], station: int, begin: int = 0) -> tuple[int, float]:
    """The place at which a station lengthens the path least, and by how much; not before `begin`."""
    if not order:
        return 0, 0.0
    row = rows[station]
    best = (row[order[-1]], len(order))
    if not begin:
        best = min(best, (row[order[0]], 0))
    for at, (one, other) in enumerate(pairwise(order), 1):
        best = min(best, (rows[one][station] + row[other] - rows[one][other], at))
    return best[1], best[0]

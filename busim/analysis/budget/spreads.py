"""How long answered exchanges take, as a distribution: a fixed time, and a few times drawn evenly between bounds."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import product
from math import factorial
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

_POINTS = 250
_STEPS = np.arange(_POINTS)
_FLAT = 1e-3  # of the widest: a range narrower than this counts as its middle
_ALIKE = 1000  # ns: exchanges that differ by less are taken as one kind


def _corners(many: int) -> tuple[Array, Array]:
    """Of a cube of so many dimensions, and the sign with which each counts in the law of Irwin and Hall."""
    chosen = np.array(list(product((0.0, 1.0), repeat=many)))
    return chosen, (-1.0) ** chosen.sum(axis=1)


_CORNERS = {many: _corners(many) for many in (2, 3)}


class Entry(NamedTuple):
    """An answered exchange: ns it takes at least, and how far turnaround and the passages out and back are spread."""

    least: float
    turnaround: float
    out: float
    back: float

    @classmethod
    def of(cls, exchange: Any) -> Entry:
        """An exchange, as if its camera stood beside the asker."""
        least = exchange.fixed + exchange.turnaround_low + exchange.latency_low
        return cls(
            least + exchange.back_mean - exchange.back_width / 2,
            exchange.turnaround_high - exchange.turnaround_low,
            exchange.latency_high - exchange.latency_low,
            exchange.back_width,
        )


class Mixtures(NamedTuple):
    """Several mixtures of some exchanges. `weights`: [mixture, exchange], how often each comes. `shares`: those whose
    quantiles are wanted."""

    entries: Sequence[Entry]
    weights: Array
    shares: Sequence[float]

    @classmethod
    def of(
        cls, kinds: Sequence[Entry], parts: Iterable[tuple[int, int, float, float]], many: int, shares: Sequence[float]
    ) -> Mixtures:
        """So many mixtures of `parts`: mixture, kind, ns of propagation more than the kind has, how often. Exchanges of
        a kind that differ by less than a microsecond are taken as one."""
        places: dict[tuple[int, int], int] = {}
        entries: list[Entry] = []
        held = []
        for mixture, kind, way, often in parts:
            one = kinds[kind]
            key = kind, round((one[0] + way) / _ALIKE)
            place = places.get(key)
            if place is None:
                place = places[key] = len(entries)
                entries.append(Entry(one[0] + way, *one[1:]))
            held.append((mixture, place, often))
        weights = [[0.0] * len(entries) for _ in range(many)]
        for mixture, place, often in held:
            weights[mixture][place] += often
        return cls(entries, np.array(weights), shares)


def quantiles(mixtures: Sequence[Mixtures]) -> list[Array]:
    """For each, [mixture, share]: ns that each share of a mixture of exchanges does not exceed.

    A mixture of nothing gives nan. What comes out for some does not depend on the others: all at once only saves time.
    """
    sizes = [len(some.entries) for some in mixtures]
    entries = [entry for some in mixtures for entry in some.entries]
    if not entries:
        return [np.full((len(some.weights), len(some.shares)), np.nan) for some in mixtures]
    first, last = np.array([_span(some.entries) for some in mixtures]).T
    grids = first[:, np.newaxis] + ((last + 1 - first) / (_POINTS - 1))[:, np.newaxis] * _STEPS
    starts = np.array([entry.least for entry in entries])
    below = _below(grids.repeat(sizes, axis=0) - starts[:, np.newaxis], [entry[1:] for entry in entries])
    chances, place = [], 0
    for some, size in zip(mixtures, sizes, strict=True):
        chances.append(some.weights @ below[place : place + size])
        place += size
    reached = np.maximum.accumulate(np.concatenate(chances), axis=1)
    rows = [number for number, some in enumerate(mixtures) for _ in some.weights]
    values, place = _at(grids[rows], reached, [mixtures[number].shares for number in rows]), 0
    found = []
    for some in mixtures:
        shape = len(some.weights), len(some.shares)
        found.append(values[place : place + shape[0] * shape[1]].reshape(shape))
        place += shape[0] * shape[1]
    return found


def _span(entries: Sequence[Entry]) -> tuple[float, float]:
    """ns that all exchanges take at least, and that none exceeds; 0 where there are none."""
    if not entries:
        return 0.0, 0.0
    return min([entry.least for entry in entries]), max([sum(entry) for entry in entries])


def _at(grids: Array, reached: Array, shares: Sequence[Sequence[float]]) -> Array:
    """Of each row of `grids` and `reached` in turn, where its shares are reached: the first such point of the grid, and
    back by a part of the way to it; nan where nothing is."""
    row = np.arange(len(reached)).repeat([len(some) for some in shares])
    whole = reached[row, -1]
    wanted = np.array([share for some in shares for share in some]) * whole
    found, place = [], 0
    for one, some in zip(reached, shares, strict=True):
        found.append(one.searchsorted(wanted[place : place + len(some)]))
        place += len(some)
    places = np.minimum(np.concatenate(found), _POINTS - 1)
    before = np.maximum(places - 1, 0)
    low = reached[row, before]
    rise = reached[row, places] - low
    part = np.where(rise > 0, (wanted - low) / np.where(rise > 0, rise, 1.0), 1.0)
    near = grids[row, before]
    values = near + np.minimum(1.0, np.maximum(0.0, part)) * (grids[row, places] - near)
    return np.where(whole > 0, values, np.nan)


def _below(time: Array, widths: Sequence[Sequence[float]]) -> Array:
    """Chance that the sum of even draws from 0 to each width is at most each time (the law of Irwin and Hall).

    `time`: [kind, instant]; `widths`: of each kind.
    """
    drawn, flat = [], []
    for some in widths:
        least = _FLAT * max(some)
        drawn.append([width for width in some if width > least])
        flat.append((sum(some) - sum(drawn[-1])) / 2)
    time = time - np.array(flat)[:, np.newaxis]
    counts = [len(some) for some in drawn]
    result = np.empty_like(time)
    for many in set(counts):
        alike = [place for place, count in enumerate(counts) if count == many]
        result[alike] = _summed(time[alike], np.array([drawn[place] for place in alike]))
    return result


def _summed(time: Array, widths: Array) -> Array:
    """The same for kinds that all have as many widths: [kind, width]."""
    many = widths.shape[1]
    if not many:
        return np.asarray(time >= -0.5, dtype=float)  # to half a nanosecond
    if many == 1:
        return np.minimum(1.0, np.maximum(0.0, time / widths))
    chosen, signs = _CORNERS[many]
    beyond = time - (chosen @ widths.T)[:, :, np.newaxis]
    np.maximum(0.0, beyond, out=beyond)
    power = beyond * beyond
    if many == 3:
        power *= beyond
    chance = (signs @ power.reshape(len(signs), -1)).reshape(time.shape)
    chance /= (factorial(many) * widths.prod(axis=1))[:, np.newaxis]
    return np.where(time >= widths.sum(axis=1)[:, np.newaxis], 1.0, np.minimum(1.0, np.maximum(0.0, chance)))

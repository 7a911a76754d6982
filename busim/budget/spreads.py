"""How long answered exchanges take, as a distribution: a fixed time, and a few times drawn evenly between bounds."""

from __future__ import annotations

from collections.abc import Sequence
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

    def farther(self, way: float) -> Entry:
        """The same with so many ns of propagation more."""
        return Entry(self[0] + way, *self[1:])


class Mixtures(NamedTuple):
    """Several mixtures of some exchanges. `weights`: [mixture, exchange], how often each comes, 0 for never. `shares`:
    those whose quantiles are wanted."""

    entries: Sequence[Entry]
    weights: Array
    shares: Sequence[float]


def quantiles(mixtures: Sequence[Mixtures]) -> list[Array]:
    """For each, [mixture, share]: ns that each share of a mixture of exchanges does not exceed.

    A mixture of nothing gives nan. What comes out for some does not depend on the others: all at once only saves time.
    """
    kinds = _Kinds(mixtures)
    if not kinds.starts:
        return [np.full((len(some.weights), len(some.shares)), np.nan) for some in mixtures]
    first, last = np.array(kinds.first), np.array(kinds.last)
    grids = first[:, np.newaxis] + ((last + 1 - first) / (_POINTS - 1))[:, np.newaxis] * _STEPS
    below = _below(grids[kinds.owners] - np.array(kinds.starts)[:, np.newaxis], kinds.widths)
    chances, place = [], 0
    for weights in kinds.weights:
        count = weights.shape[1]
        chances.append(weights @ below[place : place + count])
        place += count
    reached = np.maximum.accumulate(np.concatenate(chances), axis=1)
    rows = [number for number, some in enumerate(mixtures) for _ in some.weights]
    values, place = _at(grids[rows], reached, [mixtures[number].shares for number in rows]), 0
    found = []
    for some in mixtures:
        shape = len(some.weights), len(some.shares)
        found.append(values[place : place + shape[0] * shape[1]].reshape(shape))
        place += shape[0] * shape[1]
    return found


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


class _Kinds:
    """The exchanges that ever come in mixtures, those that are alike taken as one: `starts`, `widths` and `owners`, the
    number of the mixtures that each belongs to. Of each of the mixtures `weights`, [mixture, kind], and `first` and
    `last`: ns that all of them take at least and none exceeds; 0 where nothing comes."""

    def __init__(self, mixtures: Sequence[Mixtures]) -> None:
        self.starts: list[float] = []
        self.widths: list[tuple[float, float, float]] = []
        self.owners: list[int] = []
        self.weights: list[Array] = []
        self.first: list[float] = []
        self.last: list[float] = []
        for owner, some in enumerate(mixtures):
            places = self._add(some.entries, np.add.reduce(some.weights).tolist())
            count = len(self.starts) - len(self.owners)
            self.owners += [owner] * count
            alike = 0 < count < len(places)
            self.weights.append(some.weights @ np.eye(count)[places] if alike else some.weights[:, :count])

    def _add(self, entries: Sequence[Entry], often: Sequence[float]) -> list[int]:
        """For each exchange, the number of its kind among those of its mixtures."""
        numbers: dict[tuple[float, ...], int] = {}
        places, last = [], 0.0
        for (least, turnaround, out, back), comes in zip(entries, often, strict=True):
            key = round(least / _ALIKE), turnaround, out, back
            if comes and key not in numbers:
                numbers[key] = len(numbers)
                self.starts.append(least)
                self.widths.append((turnaround, out, back))
                last = max(last, least + turnaround + out + back)
            places.append(numbers.get(key, 0))
        self.first.append(min(self.starts[-len(numbers) :]) if numbers else 0.0)
        self.last.append(last)
        return places


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

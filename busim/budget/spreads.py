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
    every = [_Part(some) for some in mixtures]
    parts = [one for one in every if one.starts]
    if not parts:
        return [one.found for one in every]
    each = [len(one.starts) for one in parts]
    first = np.array([min(one.starts) for one in parts])
    last = np.array([one.last for one in parts])
    grids = first[:, np.newaxis] + ((last + 1 - first) / (_POINTS - 1))[:, np.newaxis] * _STEPS
    starts = np.array([start for one in parts for start in one.starts])
    below = _below(grids.repeat(each, axis=0) - starts[:, np.newaxis], [w for one in parts for w in one.widths])
    place = 0
    rows: list[tuple[_Part, int, int]] = []
    chances = []
    for number, one in enumerate(parts):
        chances.append(one.weights @ below[place : place + len(one.starts)])
        rows += [(one, row, number) for row in range(len(one.weights))]
        place += len(one.starts)
    reached = np.maximum.accumulate(np.concatenate(chances), axis=1)
    values = iter(_at(grids[[number for _, _, number in rows]], reached, [one.shares for one, _, _ in rows]))
    for (one, row, _), whole in zip(rows, reached[:, -1].tolist(), strict=True):
        if whole:
            one.found[row] = next(values)
        else:
            next(values)
    return [one.found for one in every]


def _at(grids: Array, reached: Array, shares: Sequence[Array]) -> list[Array]:
    """Of each row of `grids` and `reached`, where its shares are reached: the first such point of the grid, and back
    by a part of the way to it."""
    many = [len(some) for some in shares]
    row = np.arange(len(reached)).repeat(many)
    wanted = np.concatenate(shares) * reached[row, -1]
    ends = np.cumsum(many).tolist()
    starts = [end - count for end, count in zip(ends, many, strict=True)]
    found = [some.searchsorted(wanted[start:end]) for some, start, end in zip(reached, starts, ends, strict=True)]
    places = np.minimum(np.concatenate(found), _POINTS - 1)
    before = np.maximum(places - 1, 0)
    low = reached[row, before]
    rise = reached[row, places] - low
    part = np.where(rise > 0, (wanted - low) / np.where(rise > 0, rise, 1.0), 1.0)
    near = grids[row, before]
    values = near + np.minimum(1.0, np.maximum(0.0, part)) * (grids[row, places] - near)
    return [values[start:end] for start, end in zip(starts, ends, strict=True)]


class _Part:
    """Mixtures with alike exchanges taken as one. `last`: ns that none exceeds; `found`: their quantiles."""

    def __init__(self, mixtures: Mixtures) -> None:
        kinds: dict[tuple[float, ...], int] = {}
        self.starts: list[float] = []
        self.widths: list[tuple[float, float, float]] = []
        self.last = 0.0
        places = []
        ever: list[bool] = np.asarray(mixtures.weights.any(axis=0)).tolist()
        for (least, turnaround, out, back), comes in zip(mixtures.entries, ever, strict=True):
            key = round(least / _ALIKE), turnaround, out, back
            if comes and key not in kinds:
                kinds[key] = len(kinds)
                self.starts.append(least)
                self.widths.append((turnaround, out, back))
                self.last = max(self.last, least + turnaround + out + back)
            places.append(kinds.get(key, 0))
        self.weights = mixtures.weights
        if 0 < len(kinds) < len(places):
            self.weights = self.weights @ np.eye(len(kinds))[places]
        self.shares = np.array(mixtures.shares)
        self.found = np.full((len(self.weights), len(self.shares)), np.nan)


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

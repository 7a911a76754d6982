"""How long answered exchanges take, as a distribution: a fixed time, and a few times drawn evenly between bounds."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from math import factorial, prod
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

_POINTS = 250
_STEPS = np.arange(_POINTS)
_FLAT = 1e-3  # of the widest: a range narrower than this counts as its middle
_ALIKE = 1000  # ns: exchanges that differ by less are taken as one kind


class Entry(NamedTuple):
    """An answered exchange: ns it takes at least, and how far turnaround and the passages out and back are spread."""

    least: float
    turnaround: float
    out: float
    back: float

    @classmethod
    def of(cls, exchange: Any, way: float) -> Entry:
        """`way`: ns of propagation that is not in the exchange."""
        least = exchange.fixed + exchange.turnaround_low + exchange.latency_low
        return cls(
            least + exchange.back_mean - exchange.back_width / 2 + way,
            exchange.turnaround_high - exchange.turnaround_low,
            exchange.latency_high - exchange.latency_low,
            exchange.back_width,
        )


def quantiles(entries: Sequence[Entry], mixtures: Array, shares: Sequence[float]) -> Array:
    """[mixture, share]: ns that each share of a mixture of exchanges does not exceed.

    `mixtures`: [mixture, exchange], how often each comes, 0 for never. A mixture of nothing gives nan.
    """
    ever: list[bool] = np.any(mixtures, axis=0).tolist()
    if not any(ever):
        return np.full((len(mixtures), len(shares)), np.nan)
    kinds: dict[tuple[float, ...], int] = {}
    starts: list[float] = []
    places = []
    for entry, comes in zip(entries, ever, strict=True):
        key = (round(entry.least / _ALIKE), *entry[1:])
        if comes and key not in kinds:
            kinds[key] = len(kinds)
            starts.append(entry.least)
        places.append(kinds.get(key, 0))
    weights = mixtures @ np.eye(len(kinds))[places]
    last = max(start + sum(widths) for start, (_, *widths) in zip(starts, kinds, strict=True))
    first = min(starts)
    grid = first + (last + 1 - first) / (_POINTS - 1) * _STEPS
    later = grid - np.array(starts)[:, np.newaxis]
    below = np.empty_like(later)
    drawn = [widths for _, *widths in kinds]
    for widths in {tuple(widths): widths for widths in drawn}.values():
        alike = [other == widths for other in drawn]
        below[alike] = _below(later[alike], widths)
    total = weights.sum(axis=1)
    reached = np.asarray(np.maximum.accumulate(weights @ below, axis=1), dtype=float)
    found = _at(np.asarray(grid, dtype=float), reached, np.asarray(shares))
    return found if total.all() else np.where(total[:, np.newaxis] > 0, found, np.nan)


def _at(grid: Array, reached: Array, shares: Array) -> Array:
    """[row, share]: where each is reached: the first such point of the grid, and back by a part of the way to it."""
    wanted = shares * reached[:, -1:]
    places = np.minimum((reached[:, np.newaxis] < wanted[:, :, np.newaxis]).sum(axis=2), len(grid) - 1)
    before = np.maximum(places - 1, 0)
    rows = np.arange(len(reached))[:, np.newaxis]
    start = reached[rows, before]
    rise = reached[rows, places] - start
    part = np.where(rise > 0, (wanted - start) / np.where(rise > 0, rise, 1.0), 1.0)
    return np.asarray(grid[before] + np.minimum(1.0, np.maximum(0.0, part)) * (grid[places] - grid[before]))


def _below(time: Array, widths: Sequence[float]) -> Array:
    """Chance that the sum of even draws from 0 to each width is at most each time (the law of Irwin and Hall).

    `time`: [kind, instant].
    """
    widest = max(widths)
    drawn = [width for width in widths if width > _FLAT * widest and width > 0]
    time = time - sum(width / 2 for width in widths if width not in drawn)
    if not drawn:
        return np.asarray(time >= -0.5, dtype=float)  # to half a nanosecond
    if len(drawn) == 1:
        return np.minimum(1.0, np.maximum(0.0, time / drawn[0]))
    chosen = [
        (sum(width for width, taken in zip(drawn, some, strict=True) if taken), (-1) ** sum(some))
        for some in product((0, 1), repeat=len(drawn))
    ]
    shifts, signs = np.array(chosen).T
    beyond = np.maximum(0.0, time - shifts[:, np.newaxis, np.newaxis])
    power = beyond * beyond if len(drawn) == 2 else beyond * beyond * beyond
    chance = np.tensordot(signs, power, axes=1) / (factorial(len(drawn)) * prod(drawn))
    return np.where(time >= sum(drawn), 1.0, np.minimum(1.0, np.maximum(0.0, chance)))

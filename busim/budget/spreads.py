"""How long answered exchanges take, as a distribution: a fixed time, and a few times drawn evenly between bounds."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from math import factorial, prod

import numpy as np
import numpy.typing as npt

from busim.exchange import Exchange

Array = npt.NDArray[np.float64]

_POINTS = 250
_FLAT = 1e-3  # of the widest: a range narrower than this counts as its middle
_ALIKE = 1000  # ns: exchanges that differ by less are taken as one kind


def quantiles(exchanges: Exchange, mixtures: Array, shares: Sequence[float]) -> Array:
    """[mixture, share]: ns that each share of a mixture of exchanges does not exceed.

    `mixtures`: [mixture, exchange], how often each comes, 0 for never. A mixture of nothing gives nan.
    """
    ever = mixtures.sum(axis=0) > 0
    if not ever.any():
        return np.full((len(mixtures), len(shares)), np.nan)
    low = np.asarray(exchanges.best)[ever]
    turnaround = np.asarray(exchanges.turnaround_high - exchanges.turnaround_low)[ever]
    latency = np.asarray(exchanges.latency_high - exchanges.latency_low)[ever]
    rows = zip((low / _ALIKE).round().tolist(), turnaround.tolist(), latency.tolist(), strict=True)
    kinds: dict[tuple[float, float, float], int] = {}
    places = [kinds.setdefault(row, len(kinds)) for row in rows]
    starts = np.array([low[places.index(place)] for place in range(len(kinds))])
    weights = np.zeros((len(mixtures), len(kinds)))
    np.add.at(weights.T, places, mixtures[:, ever].T)
    last = max(start + one + 2 * two for start, (_, one, two) in zip(starts, kinds, strict=True))
    grid = np.linspace(float(starts.min()), last + 1, _POINTS)
    below = np.array(
        [_below(grid - start, (one, two, two)) for start, (_, one, two) in zip(starts, kinds, strict=True)]
    )
    total = weights.sum(axis=1, keepdims=True)
    reached = np.maximum.accumulate(weights @ below / np.where(total > 0, total, 1.0), axis=1)
    found = np.array([_at(grid, row, shares) for row in reached])
    return np.where(total > 0, found, np.nan)


def _at(grid: Array, reached: Array, shares: Sequence[float]) -> Array:
    """Where each share is reached: the first such point of the grid, and back by a part of the way to it."""
    places = np.minimum(np.searchsorted(reached, np.asarray(shares) * reached[-1]), len(grid) - 1)
    before = np.maximum(places - 1, 0)
    rise = reached[places] - reached[before]
    part = np.where(rise > 0, (np.asarray(shares) * reached[-1] - reached[before]) / np.where(rise > 0, rise, 1.0), 1.0)
    return np.asarray(grid[before] + np.clip(part, 0, 1) * (grid[places] - grid[before]))


def _below(time: Array, widths: tuple[float, ...]) -> Array:
    """Chance that the sum of even draws from 0 to each width is at most each time (the law of Irwin and Hall)."""
    widest = max(widths)
    drawn = [width for width in widths if width > _FLAT * widest and width > 0]
    time = time - sum(width / 2 for width in widths if width not in drawn)
    if not drawn:
        return np.asarray(time >= -0.5, dtype=float)  # to half a nanosecond
    if len(drawn) == 1:
        return np.clip(time / drawn[0], 0.0, 1.0)
    total = np.zeros_like(time)
    for chosen in product((0, 1), repeat=len(drawn)):
        shift = sum(width for width, taken in zip(drawn, chosen, strict=True) if taken)
        total += (-1) ** sum(chosen) * np.maximum(0.0, time - shift) ** len(drawn)
    chance = total / (factorial(len(drawn)) * prod(drawn))
    return np.where(time >= sum(drawn), 1.0, np.clip(chance, 0.0, 1.0))

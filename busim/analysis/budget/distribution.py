"""The distribution of a varying time: its mean, variance, quantiles and sums.

A `Distribution` is a histogram: cells with a middle, a width and a weight. A cell of width 0 is one exact value. Times
are ns. The formulas are elementary probability.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

_CELLS = 400  # of a sum: a quantile is then right to about 1/400 of the range
_UNIFORM_CELLS = 24  # that a uniform distribution is cut into before it is added to another
_SUMMANDS = 150  # cells of each of two distributions that are added
_NARROW = 1.0  # ns: a narrower cell counts as this wide


@dataclass(frozen=True)
class Distribution:
    """Cells around `values` (ns) with `weights`, which add up to 1. A value is uniform over the width of its cell."""

    values: Array
    weights: Array
    widths: Array

    @classmethod
    def certain(cls, value: float) -> Distribution:
        """A constant value."""
        return cls(np.array([value]), np.ones(1), np.zeros(1))

    @classmethod
    def uniform(cls, low: float, high: float) -> Distribution:
        """Evenly between two bounds."""
        if high <= low:
            return cls.certain(low)
        width = (high - low) / _UNIFORM_CELLS
        middles = low + width * (np.arange(_UNIFORM_CELLS) + 0.5)
        return cls(
            np.asarray(middles, float), np.full(_UNIFORM_CELLS, 1 / _UNIFORM_CELLS), np.full(_UNIFORM_CELLS, width)
        )

    @classmethod
    def around(cls, mean: float, variance: float) -> Distribution:
        """One cell with this mean and variance: a uniform distribution of width w has the variance w^2 / 12."""
        return cls(np.array([mean]), np.ones(1), np.array([math.sqrt(12 * max(0.0, variance))]))

    @classmethod
    def mixture(cls, parts: Iterable[tuple[float, Distribution]]) -> Distribution:
        """A mixture of several by their shares, which need not add up to 1.

        Raises ValueError if they add up to 0.
        """
        held = [(share, part) for share, part in parts if share > 0]
        total = sum(share for share, _ in held)
        if not held:
            raise ValueError("a mixture of nothing")
        return cls(
            np.concatenate([part.values for _, part in held]),
            np.concatenate([share / total * part.weights for share, part in held]),
            np.concatenate([part.widths for _, part in held]),
        )

    @cached_property
    def mean(self) -> float:
        return float(self.weights @ self.values)

    @cached_property
    def square(self) -> float:
        """Mean square, ns^2."""
        return float(self.weights @ (self.values**2 + self.widths**2 / 12))

    @property
    def variance(self) -> float:
        return max(0.0, self.square - self.mean**2)

    @property
    def longest(self) -> float:
        """The largest value."""
        return float((self.values + self.widths / 2).max())

    @property
    def residual(self) -> float:
        """Mean residual time at an instant chosen at random, E[X^2] / (2 E[X]) (renewal theory, any text)."""
        return self.square / (2 * self.mean) if self.mean else 0.0

    def shifted(self, by: float) -> Distribution:
        """The same, `by` ns later."""
        return Distribution(self.values + by, self.weights, self.widths)

    def plus(self, other: Distribution) -> Distribution:
        """The sum of this and an independent other. Variances of cells add up."""
        one, two = self.regrouped(_SUMMANDS), other.regrouped(_SUMMANDS)
        values = np.add.outer(one.values, two.values).ravel()
        weights = np.multiply.outer(one.weights, two.weights).ravel()
        widths = np.sqrt(np.add.outer(one.widths**2, two.widths**2)).ravel()
        return Distribution(values, weights, widths).regrouped()

    def regrouped(self, cells: int = _CELLS) -> Distribution:
        """The same in at most `cells` cells, each with the mean and variance of its part."""
        low, high = float(self.values.min()), float(self.values.max())
        if len(self.values) <= cells or high <= low:
            return self
        place = np.minimum(cells - 1, ((self.values - low) * (cells / (high - low))).astype(np.intp))
        weights = np.bincount(place, self.weights, cells)
        kept = weights > 0
        total = weights[kept].astype(float)
        means = np.bincount(place, self.weights * self.values, cells)[kept] / total
        squares = np.bincount(place, self.weights * (self.values**2 + self.widths**2 / 12), cells)[kept] / total
        return Distribution(means, total, np.sqrt(12 * np.maximum(0.0, squares - means**2)))

    def points(self, cells: int = 3) -> tuple[Array, Array]:
        """Exact values and their weights, with the same mean and mean square: two for each of at most `cells` cells."""
        few = self.regrouped(cells)
        spread = few.widths / math.sqrt(12)
        if not spread.any():
            return few.values, few.weights
        return np.concatenate([few.values - spread, few.values + spread]), np.concatenate([few.weights / 2] * 2)

    def quantile(self, share: float) -> float:
        """The value (ns) that this share does not exceed."""
        return float(self.quantiles((share,))[0])

    def quantiles(self, shares: tuple[float, ...]) -> Array:
        """Several of them. The distribution function is a sum of ramps and steps, so it is exact between its bends."""
        flat = self.widths <= _NARROW
        half = np.where(flat, _NARROW, self.widths) / 2
        slope = self.weights / (2 * half)
        bends = np.concatenate([self.values - half, self.values + half])
        order = bends.argsort(kind="stable")
        bends, turns = bends[order], np.concatenate([slope, -slope])[order]
        below = np.concatenate([[0.0], np.cumsum(np.cumsum(turns)[:-1] * np.diff(bends))])
        below = np.maximum.accumulate(below)
        return np.asarray(np.interp(np.asarray(shares) * below[-1], below, bends), float)

    def below(self, time: float) -> float:
        """The share that does not exceed this time."""
        widths = np.maximum(_NARROW, self.widths)
        return float(self.weights @ np.clip((time - self.values) / widths + 0.5, 0, 1))

"""Times that are sums of independent parts, as far as their rare long values: the rounds that are seldom exceeded.

The characteristic function of a sum of independent times is the product of theirs, and that of a random number N of
times X is G(phi_X), G the generating function of N (any text on probability). Here it is the discrete Fourier transform
on a grid. Times are ns.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from busim.analysis.budget.distribution import Distribution

Array = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]

SELDOM = 0.999  # the share of rounds, or of moves, that a usual longest time covers
_CELLS = 2048  # of the grid
_CARRIED = 12  # rounds over which lateness is followed
_AHEAD = 0.25  # of the grid: room for what is subtracted


class RareSum:
    """A sum in the making, on a grid that reaches `span` ns."""

    def __init__(self, span: float) -> None:
        self._step = span / _CELLS / (1 - _AHEAD)
        self._sum: Complex = np.ones(_CELLS // 2 + 1, complex)

    def with_even(self, widths: Iterable[float]) -> RareSum:
        """Another sum: this one and times that lie evenly around 0, each over its width: sin(w b / 2) / (w b / 2) for
        the width b at the angular frequency w (any table of Fourier transforms)."""
        one = RareSum(1.0)
        one._step, one._sum = self._step, self._sum
        turns = np.arange(len(self._sum)) / _CELLS / self._step  # of each frequency, per ns
        for width in widths:
            one._sum = one._sum * np.sinc(turns * width)
        return one

    def add_normal(self, variance: float) -> None:
        """Adds a normal time of mean 0: e^(-variance w^2 / 2) at the angular frequency w."""
        pace = 2 * math.pi * np.arange(len(self._sum)) / _CELLS / self._step
        self._sum = self._sum * np.exp(-variance * pace**2 / 2)

    def transform(self, one: Distribution) -> Complex:
        """The characteristic function of a time. Each value goes to the two points of the grid beside it, so that the
        mean stays."""
        spread = one.widths / math.sqrt(12)
        place = np.concatenate([one.values - spread, one.values + spread]) / self._step
        weights = np.concatenate([one.weights, one.weights]) / 2
        below = np.floor(place)
        part, at = place - below, below.astype(np.intp) % _CELLS
        grid = np.bincount(at, weights * (1 - part), _CELLS) + np.bincount((at + 1) % _CELLS, weights * part, _CELLS)
        return np.asarray(np.fft.rfft(grid))

    def add(self, one: Distribution, chance: float = 1.0) -> None:
        """Adds a time that is there with this chance."""
        self._sum = self._sum * (1 - chance + chance * self.transform(one))

    def multiply(self, part: Complex) -> None:
        """Adds a time of this characteristic function."""
        self._sum = self._sum * part

    def add_counted(self, one: Distribution, mean: float, variance: float) -> None:
        """Adds a random number of such times: binomial, Poisson or negative binomial by mean and variance of it."""
        self._sum = self._sum * self.counted(one, mean, variance)

    def counted(self, one: Distribution, mean: float, variance: float) -> Complex:
        """The characteristic function of a random number of such times, by mean and variance of the number."""
        return counted(self.transform(one), mean, variance)

    def carried_over(self, work: Complex, every: float) -> Complex:
        """The characteristic function of how late a round begins that is due `every` ns after the one before, each with
        so much work: L' = max(0, L + work - every), the recursion of Lindley (any queueing text)."""
        step = work * self.transform(Distribution.certain(every)).conj()
        late: Complex = np.ones_like(step)
        for _ in range(_CARRIED):
            chances = np.fft.irfft(late * step, _CELLS)
            early = round((1 - _AHEAD) * _CELLS)
            chances[0] += chances[early:].sum()
            chances[early:] = 0.0
            late = np.asarray(np.fft.rfft(chances))
        return late

    def add_difference(self, part: Complex) -> None:
        """Adds one time of this characteristic function, and subtracts another alike."""
        self._sum = self._sum * (part * part.conj())

    def surplus(self) -> tuple[Array, Array]:
        """y and E[(X - y)+] for each y of the grid from 0 on, ns: the integral of P(X > x) from y on (the stop-loss
        transform, any text on risk)."""
        chances = np.fft.irfft(self._sum, _CELLS)[: round((1 - _AHEAD) * _CELLS)]
        beyond = np.maximum(0.0, chances)[::-1].cumsum()[::-1]
        above = beyond[::-1].cumsum()[::-1] - beyond
        return np.asarray(np.arange(len(above)) * self._step, float), np.asarray(above * self._step, float)

    def quantile(self, share: float) -> float:
        """The value (ns) that this share does not exceed."""
        chances = np.roll(np.fft.irfft(self._sum, _CELLS), round(_AHEAD * _CELLS)).cumsum()
        place = int(np.searchsorted(np.maximum.accumulate(chances), share * chances[-1]))
        return float((place - round(_AHEAD * _CELLS)) * self._step)


def counted(one: Complex, mean: float, variance: float) -> Complex:
    """G(phi) of a random number with this mean and variance."""
    if mean <= 0:
        return np.ones_like(one)
    if variance > mean * (1 + 1e-6):  # negative binomial: (1 - q)^r / (1 - q z)^r, q = 1 - mean / variance
        more = 1 - mean / variance
        power = mean * (1 - more) / more
        return np.asarray(np.exp(power * (math.log1p(-more) - np.log(1 - more * one))))
    if variance < mean * (1 - 1e-6):  # binomial: (1 - p + p z)^n
        count = max(1, math.ceil(mean**2 / (mean - variance)), math.ceil(mean))
        return np.asarray((1 + mean / count * (one - 1)) ** count)
    return np.asarray(np.exp(mean * (one - 1)))

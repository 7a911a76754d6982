"""Confidence of measured numbers: 95 % intervals of means, quantiles and repeated runs.

Neighbouring values are not independent: the waits of one busy stretch are alike, and so are the cycles of all cameras.
So the error of a mean comes from the means of long batches, which nearly are independent.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

_BATCHES = 20
# Two-sided 95 % points of Student's t by degrees of freedom, from any table of it; above 30 the normal value is close.
_T = (12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228, 2.201, 2.179, 2.160, 2.145, 2.131, 2.120,
      2.110, 2.101, 2.093, 2.086, 2.080, 2.074, 2.069, 2.064, 2.060, 2.056, 2.052, 2.048, 2.045, 2.042)  # fmt: skip
_NORMAL = 1.960


def student(freedom: int) -> float:
    """Half-width of a two-sided 95 % interval in standard errors."""
    return _T[freedom - 1] if freedom <= len(_T) else _NORMAL


def standard_error(values: npt.NDArray[np.float64]) -> float | None:
    """Of the mean of values in order of time, from batch means; None for fewer than two a batch."""
    size = len(values) // _BATCHES
    if size < 2:
        return None
    means = values[: size * _BATCHES].reshape(_BATCHES, size).mean(axis=1)
    return float(means.std(ddof=1)) / math.sqrt(_BATCHES)


def mean_interval(values: npt.NDArray[np.float64]) -> float | None:
    """Half-width of the interval around the mean of values in order of time."""
    error = standard_error(values)
    return None if error is None else student(_BATCHES - 1) * error


def quantile_interval(values: npt.NDArray[np.float64], share: float) -> tuple[float, float] | None:
    """The two values that the quantile lies between (order statistics, by the normal law); None for fewer than 20.

    Treats the values as independent, so it is a little narrow if they come in busy stretches.
    """
    count = len(values)
    if count < _BATCHES:
        return None
    spread = _NORMAL * math.sqrt(count * share * (1 - share))
    places = np.clip([math.floor(count * share - spread), math.ceil(count * share + spread)], 0, count - 1)
    low, high = np.partition(values, places)[places]
    return float(low), float(high)


def repeated_interval(values: npt.NDArray[np.float64]) -> float | None:
    """Half-width of the interval around the mean of independent runs, each with its own seed; None for a single one."""
    count = len(values)
    return student(count - 1) * float(values.std(ddof=1)) / math.sqrt(count) if count > 1 else None

"""The median of measured times with its interval, without any assumption about their distribution."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import comb

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Interval:
    """`middle`: median of `count` times, `low` and `high` its interval at 95 %; `least` and `most` of the times. ns."""

    low: float
    middle: float
    high: float
    least: float
    most: float
    count: int


def interval(times: Sequence[float]) -> Interval:
    """The interval of the median between two order statistics; all of the range where there are fewer than 6 times.

    The number of times below the true median is binomial (n, 1/2), whatever their distribution (David and Nagaraja,
    "Order Statistics", 2003, 7.1; from memory). Raises ValueError without any.
    """
    if not times:
        raise ValueError("no time was measured")
    ordered = sorted(times)
    count = len(ordered)
    middle = (ordered[(count - 1) // 2] + ordered[count // 2]) / 2
    below, outside = 0, 0.0
    for number in range(count // 2):
        outside += 2 * comb(count, number) / 2**count
        if outside > 1 - CONFIDENCE:
            break
        below = number
    return Interval(ordered[below], middle, ordered[-1 - below], ordered[0], ordered[-1], count)

"""Intervals of measured numbers, held against published points of Student's t and against numbers worked out by hand.

Points: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2, upper critical values for 0.975 (from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from busim.recording.figures import mean_interval, quantile_interval, repeated_interval, standard_error, student

POINTS = (
    12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228, 2.201, 2.179, 2.160, 2.145, 2.131, 2.120,
    2.110, 2.101, 2.093, 2.086, 2.080, 2.074, 2.069, 2.064, 2.060, 2.056, 2.052, 2.048, 2.045, 2.042,
)  # fmt: skip


def test_half_widths_are_the_points_of_students_t_and_above_30_the_normal_one() -> None:
    assert [student(freedom) for freedom in range(1, 31)] == list(POINTS)
    assert student(31) == student(1000) == 1.960


def test_the_points_grow_closer_as_the_t_distribution_says() -> None:
    """Its own density, integrated by the trapezium rule: an independent way to every point of the table."""
    for freedom, point in enumerate(POINTS, 1):
        at = np.linspace(-point, point, 200_001)
        scale = math.gamma((freedom + 1) / 2) / (math.sqrt(freedom * math.pi) * math.gamma(freedom / 2))
        density = scale * (1 + at**2 / freedom) ** (-(freedom + 1) / 2)
        inside = float(((density[1:] + density[:-1]) / 2 * np.diff(at)).sum())
        assert inside == pytest.approx(0.95, abs=2e-4), freedom


def test_a_mean_has_its_error_from_the_means_of_20_batches() -> None:
    means = np.arange(20.0)  # each batch holds two values around its mean, and one value is left over at the end
    values = np.append(np.column_stack([means - 5, means + 5]).ravel(), 1e6)
    error = float(means.std(ddof=1)) / math.sqrt(20)
    assert standard_error(values) == pytest.approx(error)
    assert mean_interval(values) == pytest.approx(2.093 * error)  # 19 degrees of freedom
    assert standard_error(values[:39]) is None  # a batch of one value says nothing
    assert standard_error(values[:40]) == pytest.approx(error)


def test_a_quantile_lies_between_two_of_the_values() -> None:
    """Order statistics by the normal law, by hand: of 100 values the median is from place 40 to 60, counted from 0."""
    values = np.random.Generator(np.random.PCG64(1)).permutation(100).astype(float)
    assert quantile_interval(values, 0.5) == (40.0, 60.0)
    assert quantile_interval(values, 0.9) == (84.0, 96.0)  # 90 -+ 1.96 * 3
    assert quantile_interval(values, 0.99) == (97.0, 99.0)  # 99 -+ 1.95, and there is no place 101
    assert quantile_interval(values[:19], 0.5) is None
    assert quantile_interval(np.arange(20.0), 0.5) == (5.0, 15.0)  # 10 -+ 4.38


def test_runs_of_their_own_seeds_give_an_interval_by_their_number() -> None:
    assert repeated_interval(np.array([1.0, 3.0])) == pytest.approx(12.706 * math.sqrt(2) / math.sqrt(2))
    assert repeated_interval(np.array([1.0, 2.0, 3.0])) == pytest.approx(4.303 / math.sqrt(3))
    assert repeated_interval(np.array([1.0])) is None

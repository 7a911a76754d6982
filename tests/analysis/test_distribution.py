"""The distributions of the budget against elementary probability, and each line of a plan alone."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from places import TOP

from busim.analysis.budget import Distribution, budget, cases, line_budget
from busim.plan import read

TIMES = st.floats(1e3, 1e8)
DISTRIBUTIONS = st.one_of(
    TIMES.map(Distribution.certain),
    st.tuples(TIMES, TIMES).map(lambda bounds: Distribution.uniform(min(bounds), max(bounds))),
)


def mixed(parts: list[tuple[float, Distribution]]) -> Distribution:
    return Distribution.mixture(parts)


MIXTURES = st.lists(st.tuples(st.floats(0.01, 1), DISTRIBUTIONS), min_size=1, max_size=5).map(mixed)


def test_a_line_alone_has_the_budget_that_it_has_in_its_plan() -> None:
    plan = read(TOP / "scenarios/climbing-hall/plan.yaml")
    found = budget(plan)
    together = found.as_json()["lines"]
    assert len(together) == 3
    for case, line in zip(cases(plan), together, strict=True):
        alone: Any = type(found)(plan.name, (line_budget(case),), ()).as_json()["lines"]
        assert alone == [line]


@given(st.floats(0, 1e7), st.floats(1e3, 1e7))
def test_a_uniform_time_has_its_mean_variance_and_quantiles(low: float, width: float) -> None:
    """(a + b) / 2, (b - a)^2 / 12, a + p (b - a). Elementary probability."""
    one = Distribution.uniform(low, low + width)
    assert one.mean == pytest.approx(low + width / 2)
    assert one.variance == pytest.approx(width**2 / 12, rel=1e-6, abs=1e-6 * one.square)
    assert one.quantile(0.95) == pytest.approx(low + 0.95 * width, rel=1e-9)


@given(MIXTURES, MIXTURES)
def test_means_and_variances_of_independent_times_add_up(one: Distribution, other: Distribution) -> None:
    """Elementary probability."""
    both = one.plus(other)
    assert both.mean == pytest.approx(one.mean + other.mean, rel=1e-9)
    assert both.variance == pytest.approx(one.variance + other.variance, rel=1e-6, abs=1e-9 * both.square)


@given(MIXTURES, st.floats(0.01, 0.99))
def test_a_quantile_is_where_this_share_lies_below(one: Distribution, share: float) -> None:
    """The definition. A jump may take it across."""
    found = one.quantile(share)
    assert one.below(found - 1) <= share + 1e-6
    assert one.below(found + 1) >= share - 1e-6


def test_the_sum_of_two_even_times_is_a_triangle() -> None:
    """Two dice of any number of sides: 5 % lie above 2 - sqrt(0.1) of a width. The law of Irwin and Hall for n = 2."""
    one = Distribution.uniform(0, 1e6)
    assert one.plus(one).quantile(0.95) == pytest.approx((2 - np.sqrt(0.1)) * 1e6, rel=1e-3)
    assert one.plus(one).quantile(0.5) == pytest.approx(1e6, rel=1e-3)


def test_an_even_wait_and_a_fixed_time_behind_it_have_the_quantile_of_the_sum() -> None:
    """0 to 10 ms and then 1 ms: 95 % below 10.5 ms."""
    both = Distribution.uniform(0, 10e6).plus(Distribution.certain(1e6))
    assert both.quantile(0.95) == pytest.approx(10.5e6, rel=1e-6)


@given(MIXTURES)
def test_a_few_points_keep_mean_and_mean_square(one: Distribution) -> None:
    values, weights = one.points()
    assert len(values) <= 6
    assert weights @ values == pytest.approx(one.mean, rel=1e-9)
    assert weights @ values**2 == pytest.approx(one.square, rel=1e-9)


def test_a_mixture_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing"):
        Distribution.mixture([])


def test_at_a_random_instant_the_rest_of_a_fixed_time_is_half_of_it() -> None:
    """E[X^2] / (2 E[X]): renewal theory, any text."""
    assert Distribution.certain(8.0).residual == 4.0
    assert Distribution.mixture([(1, Distribution.certain(1.0)), (1, Distribution.certain(3.0))]).residual == 1.25

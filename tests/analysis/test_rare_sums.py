"""Sums of random times as far as their rare long values, and what commands add to a round."""

from __future__ import annotations

import math

import numpy as np
import pytest

from busim.analysis.budget import Distribution, waits
from busim.analysis.budget.command_delay import Turn
from busim.analysis.budget.rounds import RareSum
from busim.analysis.budget.timetable import Slot, regularity, relative_variance, settles


def test_a_sum_with_a_poisson_number_of_fixed_times_has_the_quantiles_of_the_poisson_law() -> None:
    """99.9 % of a Poisson number of mean 3: P(N <= 10) = 0.99971, P(N <= 9) = 0.99890 (any table)."""
    total = RareSum(60.0)
    total.add(Distribution.certain(5.0))
    total.add_counted(Distribution.certain(1.0), 3.0, 3.0)
    assert total.quantile(0.999) == pytest.approx(15.0, abs=0.1)  # three cells of the grid


def test_a_difference_of_two_alike_is_symmetrical() -> None:
    total = RareSum(40.0)
    total.add(Distribution.certain(10.0))
    total.add_difference(total.transform(Distribution.uniform(0.0, 4.0)))
    assert total.quantile(0.5) == pytest.approx(10.0, abs=0.05)
    assert total.quantile(0.999) == pytest.approx(10 + 4 - math.sqrt(2 * 0.001) * 4, abs=0.1)  # a triangle


def test_a_normal_time_has_the_quantile_of_the_normal_law() -> None:
    """99.9 % of a normal law lie below 3.0902 standard deviations (any table)."""
    total = RareSum(60.0)
    total.add(Distribution.certain(20.0))
    total.add_normal(4.0)
    assert total.quantile(0.999) == pytest.approx(20 + 2 * 3.0902, abs=0.06)


def test_two_even_times_make_a_triangle() -> None:
    """P(X > 10 + x) = (4 - x)^2 / 32 for two of width 4 around 10 (integration)."""
    total = RareSum(40.0)
    total.add(Distribution.certain(10.0))
    assert total.with_even([4.0, 4.0]).quantile(0.999) == pytest.approx(10 + 4 - math.sqrt(0.032), abs=0.03)
    assert total.quantile(0.999) == pytest.approx(10.0, abs=0.03)  # the sum itself stays


def test_the_surplus_of_a_time_is_its_stop_loss_transform() -> None:
    """E[(X - y)+] = (w - y)^2 / (2 w) for a uniform time up to w (integration)."""
    total = RareSum(40.0)
    total.add(Distribution.uniform(0.0, 20.0))
    places, surplus = total.surplus()
    expected = np.maximum(0.0, 20.0 - places) ** 2 / 40.0
    assert surplus == pytest.approx(expected, abs=0.02)


def test_few_commands_add_what_a_compound_poisson_process_does() -> None:
    """rate x E[S^2] x time (any text), where commands are few: nearly nothing comes while one is served."""
    rate, poll, service = 1e-4, 5.0, 3.0
    found = waits(rate, 40, Distribution.certain(service), Distribution.certain(poll), turns=True)
    assert isinstance(found.turn, Turn)
    assert found.turn.added(20) == pytest.approx(rate * service**2 * 20 * poll, rel=0.01)


def test_commands_at_random_add_what_the_busy_period_does() -> None:
    """E[W] rate E[S^2] / (1 - rho)^3 for a delay busy period of work W (Kleinrock vol. 1, from memory), load 0.3, one
    poll long enough that rows of four commands are rare."""
    rate, service, poll = 0.03, 10.0, 4.0
    found = waits(rate, 1000, Distribution.certain(service), Distribution.certain(poll), turns=True)
    assert found.turn is not None
    assert found.turn.added(400) == pytest.approx(400 * poll * rate * service**2 / 0.7**3, rel=0.05)


def test_polls_that_lose_their_place_find_another_where_they_do_not() -> None:
    """Eight slow polls of 0.05 s beside a fast one: a block of 0.4 s each second; once apart, none waits for others."""
    slots = [Slot(0.0, 0.05, 0.045), *[Slot(1.0, 0.05, 0.045)] * 8]
    (block, *_), (apart, *_) = regularity(slots), regularity(slots, 0.6)
    assert max(block.intervals) > 0.4
    assert settles(slots, 0.6)
    assert not settles(slots, 0.2)
    assert relative_variance(apart.intervals) < relative_variance(block.intervals) / 4
    assert np.mean(block.intervals) == pytest.approx(np.mean(apart.intervals), rel=0.05)


def test_a_poll_is_as_late_as_those_that_were_due_before_it_take() -> None:
    """Two slow ones of 0.1 s, due together each second, then a fast one that is due then too: late in one of four."""
    slots = [Slot(1.0, 0.1, 0.09), Slot(1.0, 0.1, 0.09), Slot(0.25, 0.02, 0.01)]
    assert [one.late for one in regularity(slots)] == pytest.approx([0.0, 0.1, 0.2 / 4], rel=0.05)

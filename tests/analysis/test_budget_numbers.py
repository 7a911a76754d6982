"""The budget's arithmetic over many at once: each alone gives the same, and quantiles are those of their laws."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from places import TOP

from busim.analysis.budget import Mix, Waits, budget, cases, line_budget
from busim.analysis.budget.command_delay import Chain, many_waits
from busim.plan import read

SHARE = 0.95


def numbers(said: Any) -> Any:
    """A budget's JSON with its numbers made comparable."""
    if isinstance(said, dict):
        return {name: numbers(value) for name, value in said.items()}
    if isinstance(said, list):
        return [numbers(value) for value in said]
    return pytest.approx(said, rel=1e-6) if isinstance(said, float) else said


def test_what_comes_out_for_a_line_does_not_depend_on_the_lines_worked_out_with_it() -> None:
    plan = read(TOP / "scenarios/climbing-hall/plan.yaml")
    found = budget(plan)
    together = found.as_json()["lines"]
    assert len(together) == 3
    for case, line in zip(cases(plan), together, strict=True):
        alone = type(found)(plan.name, (line_budget(case),), ()).as_json()["lines"]
        assert alone == [numbers(line)]


def reached(wait: Waits, then: Mix, time: float) -> float:
    """Chance that a wait, even over each of its stretches, and `then` come to no more than a time."""
    starts = wait.values - wait.stretches / 2
    part = (time - np.array(then.values)[:, np.newaxis] - starts) / np.maximum(1e-9, wait.stretches)
    return float(np.array(then.weights) @ np.clip(part, 0, 1) @ wait.weights / wait.weights.sum())


times = st.floats(1e3, 1e8)
shares = st.floats(0.01, 1)


@given(
    st.lists(st.tuples(times, st.floats(0, 1), shares), min_size=1, max_size=8),
    st.lists(st.tuples(times, shares), min_size=1, max_size=5),
)
@example([(5e6, 1.0, 1.0)], [(1e6, 1.0)])  # 0 to 10 ms and then 1 ms
@example([(1e3, 0.0, 1.0), (37e6, 0.5, 1.0), (54e6, 0.0, 1.0), (56e6, 0.5, 0.1)], [(33e6, 1.0)])  # wide at the end
def test_so_much_of_a_wait_and_what_comes_behind_it_lies_below_their_quantile(
    waited: list[tuple[float, float, float]], then: list[tuple[float, float]]
) -> None:
    """To about a cell on either side, against the law itself: elementary probability, no source."""
    values, wide, weights = np.array(waited).T
    wait = Waits(0.0, 0.0, 0.0, values, weights, 2 * values * wide)
    behind, likely = np.array(then).T
    mix = Mix(behind, likely / likely.sum())
    cell = float(values.max() + wait.stretches.max() / 2 + behind.max()) / 512
    found = wait.quantile(SHARE, mix)
    assert reached(wait, mix, found - 2 * cell) <= SHARE + 1e-9
    assert reached(wait, mix, found + 2 * cell) >= SHARE - 1e-9


def test_a_quantile_of_an_even_wait_is_where_it_has_to_be() -> None:
    """0 to 10 ms and then 1 ms: 10.5 ms. What lies beyond the middle of the longest stretch was cut off."""
    wait = Waits(0.0, 0.0, 0.0, np.array([5e6]), np.ones(1), np.array([1e7]))
    assert wait.quantile(SHARE, Mix(np.array([1e6]), np.ones(1))) == pytest.approx(10.5e6, rel=2e-3)


def _mix(times: list[float]) -> Mix:
    return Mix(times, [1 / len(times)] * len(times))


mixes = st.lists(st.floats(1e6, 4e7), min_size=1, max_size=3).map(_mix)
chains = st.builds(Chain, st.floats(1e-11, 6e-8), st.floats(1, 40), mixes, mixes)


@given(st.lists(st.lists(chains, min_size=1, max_size=4), min_size=2, max_size=4))
@example([[Chain(2e-8, 2.5, _mix([9e6]), _mix([1.2e7]))], [Chain(4e-8, 30.0, _mix([9e6]), _mix([1.2e7]))] * 3])
@example([[Chain(2e-8, 2.5, _mix([9e6]), _mix([1.2e7]))] * 2, [Chain(4e-8, 30.0, _mix([9e6]), _mix([1.2e7]))] * 3])
def test_how_moves_wait_does_not_depend_on_the_chains_worked_out_with_them(groups: list[list[Chain]]) -> None:
    together = many_waits(groups)
    for group, found in zip(groups, together, strict=True):
        for one, alone in zip(found, many_waits([group])[0], strict=True):
            assert one.mean == pytest.approx(alone.mean, rel=1e-6)
            assert one.carried == pytest.approx(alone.carried, rel=1e-9)
            assert one.replaced == pytest.approx(alone.replaced, rel=1e-6, abs=1e-9)
            assert one.weights.sum() == pytest.approx(alone.weights.sum(), rel=1e-9)
            assert one.quantile(SHARE, _mix([1e6])) == pytest.approx(alone.quantile(SHARE, _mix([1e6])), rel=1e-6)

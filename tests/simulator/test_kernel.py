"""Events come in the order of their instants; those of one instant in the order in which they were scheduled."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busim.foundation.errors import Defect
from busim.simulator.kernel import Kernel, PatientKernel

instants = st.integers(0, 20)


@given(st.lists(st.tuples(instants, st.lists(instants, max_size=3)), max_size=30))
def test_events_come_by_instant_and_then_in_the_order_of_scheduling(plan: list[tuple[int, list[int]]]) -> None:
    """Each event schedules others `later` ns after itself. The reference sorts (instant, running number)."""
    for kernel in (Kernel(), PatientKernel(near=3, far=5, heard=7)):
        made: list[tuple[int, int]] = []
        came: list[tuple[int, int]] = []

        def schedule(when: int, then: list[int], kernel: Kernel = kernel, made: list[tuple[int, int]] = made,
                     came: list[tuple[int, int]] = came) -> None:  # fmt: skip
            mine = (when, len(made))
            made.append(mine)

            def happen(_: object) -> None:
                assert kernel.now == when
                came.append(mine)
                for later in then:
                    schedule(when + later, [])

            ways = (kernel.at, kernel.at_near, kernel.at_shown, kernel.at_or_now, kernel.at_heard)
            ways[when % len(ways)](when, happen)

        for when, then in plan:
            schedule(when, then)
        kernel.advance(100)
        assert came == sorted(made)
        assert kernel.next_deadline() is None
        assert kernel.now == 100


def test_advancing_runs_what_is_due_up_to_the_instant_and_no_more() -> None:
    kernel = Kernel()
    came: list[int] = []
    for when in (30, 10, 20):
        kernel.at(when, came.append, when)
    kernel.advance(20)
    assert (came, kernel.now, kernel.next_deadline()) == ([10, 20], 20, 30)


def test_an_instant_that_has_passed_is_a_defect_or_now() -> None:
    kernel = Kernel()
    kernel.advance(50)
    with pytest.raises(Defect, match="already 50 ns"):
        kernel.at(49, lambda _: None)
    kernel.at_or_now(49, lambda _: None)
    assert kernel.next_deadline() == 50


@given(st.lists(instants, min_size=1), st.integers(0, 20))
def test_advancing_until_something_is_found_ends_its_whole_instant(whens: list[int], sought: int) -> None:
    kernel = Kernel()
    came: list[int] = []
    found: list[int] = []

    def happen(when: int) -> None:
        came.append(when)
        if when == sought:
            found.append(when)

    for when in whens:
        kernel.at(when, happen, when)
    kernel.advance_until(40, found)
    assert came == sorted(when for when in whens if not found or when <= sought)
    assert kernel.now == (sought if found else 40)

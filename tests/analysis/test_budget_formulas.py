"""The formulas of the budget against published values. The same laws are simulated in test_waiting and test_sharing."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busim.analysis.budget import (
    Flow,
    carrier_sense,
    fixed_service_wait,
    lowest_response,
    mean_age,
    mean_cycle,
    paced_cycle,
    priority_waits,
    pure_aloha,
    service_wait,
    undisturbed,
    vacation_wait,
    worst_age,
    worst_responses,
)
from busim.analysis.budget.cycle import one_cycle
from busim.physics.exchange import last_of

# -- waiting -------------------------------------------------------------------------------------------------


def test_a_fixed_service_waits_half_a_service_at_half_load() -> None:
    """M/D/1, rho 0.5: 0.5 service times; lambda 8, S 0.1: 0.200. Pollaczek-Khinchine, any queueing text."""
    assert fixed_service_wait(0.5, 1.0) == pytest.approx(0.5, rel=1e-9)
    assert fixed_service_wait(8.0, 0.1) == pytest.approx(0.2, rel=1e-9)


def test_two_priorities_wait_as_cobham_says() -> None:
    """lambda .3/.4, S 1: 0.5 and 1.6667; FIFO 1.1667; sum of rho W 0.8167 both ways.

    Cobham 1954; Kleinrock vol. 2 (from memory).
    """
    first, second = priority_waits([0.3, 0.4], [1.0, 1.0], [1.0, 1.0])
    assert first == pytest.approx(0.5, rel=1e-9)
    assert second == pytest.approx(5 / 3, rel=1e-9)
    together = fixed_service_wait(0.7, 1.0)
    assert together == pytest.approx(7 / 6, rel=1e-9)
    assert 0.3 * first + 0.4 * second == pytest.approx(0.7 * together, rel=1e-9)
    assert 0.7 * together == pytest.approx(0.8167, abs=1e-4)


def test_a_command_into_a_loop_that_never_rests_waits_as_with_vacations() -> None:
    """lambda .5, S 1, V 2: 1.5; V/2 as lambda goes to 0. Doshi 1986; Bertsekas and Gallager 3.5 (from memory)."""
    assert vacation_wait(0.5, 1.0, 1.0, 2.0, 4.0) == pytest.approx(1.5, rel=1e-9)
    assert vacation_wait(1e-12, 1.0, 1.0, 2.0, 4.0) == pytest.approx(1.0, rel=1e-9)


@given(st.floats(1e-3, 0.99), st.floats(1e-3, 1e3))
def test_the_waits_hold_in_any_unit_of_time(load: float, unit: float) -> None:
    assert fixed_service_wait(load / unit, unit) == pytest.approx(unit * load / (2 * (1 - load)), rel=1e-6)
    assert priority_waits([load / unit], [unit], [unit**2])[0] == pytest.approx(fixed_service_wait(load / unit, unit))


def test_at_a_load_of_1_there_is_no_number() -> None:
    waits = fixed_service_wait(np.array([5.0, 10.0, 20.0]), 0.1)
    assert np.isnan(waits).tolist() == [False, True, True]
    assert math.isnan(vacation_wait(1.0, 1.0, 1.0, 2.0, 4.0))
    assert [math.isnan(wait) for wait in priority_waits([0.5, 0.6], [1.0, 1.0], [1.0, 1.0])] == [False, True]
    assert math.isnan(mean_cycle(0.4, 1.0))


def test_the_waits_take_arrays() -> None:
    rates = np.linspace(0.1, 0.9, 9)
    single = [service_wait(float(rate), 1.0, 1.2) for rate in rates]
    assert service_wait(rates, 1.0, 1.2) == pytest.approx(single)


# -- the poll cycle ------------------------------------------------------------------------------------------


def test_the_mean_poll_cycle_is_the_walk_over_what_the_load_leaves() -> None:
    """E[C] = R / (1 - rho): walk 0.1 x 4, rho 0.5: 0.8. Takagi 1986 (from memory)."""
    assert mean_cycle(0.1 * 4, 0.5) == pytest.approx(0.8, rel=1e-9)
    assert paced_cycle(np.full(4, 0.1), np.zeros(4), 0.5) == pytest.approx(0.8, rel=1e-9)


def test_paced_polls_take_their_share_from_those_that_never_rest() -> None:
    """Takagi's law with the paced polls as load: 0.2 / (1 - 0.2)."""
    assert paced_cycle(np.full(4, 0.1), np.array([0, 0, 1.0, 1.0])) == pytest.approx(0.25, rel=1e-9)


def test_where_everything_keeps_its_pace_the_cycle_rests() -> None:
    assert paced_cycle(np.full(4, 0.1), np.full(4, 0.5)) == 0


def test_a_pace_that_is_too_fast_becomes_a_cycle_without_rest() -> None:
    assert paced_cycle(np.full(4, 0.1), np.full(4, 0.2)) == pytest.approx(0.4, rel=1e-9)


def test_commands_that_fill_the_line_leave_no_cycle() -> None:
    assert math.isnan(float(paced_cycle(np.full(2, 0.1), np.zeros(2), 1.0)))


_polls = st.lists(st.tuples(st.floats(0.01, 1), st.one_of(st.just(0.0), st.floats(0.01, 20))), min_size=1, max_size=8)


@given(_polls, st.floats(0, 0.9))
def test_a_master_that_never_rests_spends_all_its_time(polls: list[tuple[float, float]], load: float) -> None:
    occupied, every = np.array(polls).T
    cycle = float(paced_cycle(occupied, every, load))
    spent = np.sum(occupied / np.maximum(every, cycle)) if cycle or every.min() else np.inf
    assert spent + load == pytest.approx(1) if cycle else spent + load <= 1 + 1e-9


@given(_polls, st.one_of(st.floats(0, 0.9), st.just(1.0)))
def test_the_cycle_of_one_line_in_plain_numbers_is_that_of_arrays(
    polls: list[tuple[float, float]], load: float
) -> None:
    occupied, every = np.array(polls).T
    rates = [(pause, time) for time, pause in polls]
    assert one_cycle(rates, load) == pytest.approx(float(paced_cycle(occupied, every, load)), nan_ok=True)


@given(_polls, st.floats(0, 0.9))
def test_many_cycles_at_once_are_those_one_by_one(polls: list[tuple[float, float]], load: float) -> None:
    occupied, every = np.array(polls).T
    stretch = np.array([[1.0], [2.0], [0.5]])
    together = paced_cycle(occupied * stretch, every, np.array([load, load / 2, 0.0]))
    apart = [
        float(paced_cycle(occupied * k, every, r)) for k, r in zip((1, 2, 0.5), (load, load / 2, 0.0), strict=True)
    ]
    assert together == pytest.approx(apart)


# -- age -----------------------------------------------------------------------------------------------------


def test_age_follows_from_cycle_and_delivery() -> None:
    """E[C^2] / (2 E[C]) + D, worst C + D: Kaul, Yates, Gruteser, INFOCOM 2012 (from memory)."""
    assert mean_age(0.1, 0.01, 0.02) == pytest.approx(0.07, rel=1e-9)
    assert mean_age(2.0, (1 + 9) / 2, 0.0) == pytest.approx(1.25, rel=1e-9)  # cycles of 1 and 3 in turn
    assert worst_age(0.1, 0.02) == pytest.approx(0.12, rel=1e-9)


# -- packets -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("idle", "length", "characters", "character"),
    [(0.0, 0.0, 11.0, 0.1), (0.0, 0.0, 11.0, 0.5), (0.4, 4.0, 11.0, 0.1), (0.4, 4.0, 12.0, 0.1), (2.0, 0.0, 11.0, 0.1)],
    ids=["every byte alone", "slower bytes", "four at a time", "and none left over", "one packet"],
)
def test_a_reply_in_packets_is_there_with_the_slowest_of_them(
    idle: float, length: float, characters: float, character: float
) -> None:
    """Against draws: each packet takes 1 to 5, and none overtakes another (TCP keeps order)."""
    chance = np.random.Generator(np.random.PCG64(3))
    sent = np.arange(1, characters + 1) * character
    if idle >= character:
        full = [number for number in range(1, int(characters)) if length and number % length == 0]
        end = sent[-1] if length and characters % length == 0 else sent[-1] + idle
        sent = np.array([*(number * character for number in full), end])
    there = (sent + chance.uniform(1, 5, (200_000, len(sent)))).max(axis=1) - sent[-1]
    mean, width = last_of(1.0, 5.0, idle, length, characters, character)
    assert mean == pytest.approx(there.mean(), abs=0.01)
    assert width == pytest.approx(there.std() * math.sqrt(12), rel=0.01)
    many = last_of(np.ones(3), 5.0, idle, length, characters, character)
    assert [float(one[1]) for one in many] == pytest.approx([mean, width])


# -- the worst case ------------------------------------------------------------------------------------------


def test_the_worst_response_may_be_that_of_a_later_instance() -> None:
    """Three flows of 1 ms, periods 2.5, 3.5, 3.5 ms: 2, 3 and 3.5 ms; the last is that of the second instance.

    Davis, Burns, Bril, Lukkien, Real-Time Systems 35, 2007: their own example against the older analysis (from memory).
    """
    flows = [Flow(1_000_000, 2_500_000), Flow(1_000_000, 3_500_000), Flow(1_000_000, 3_500_000)]
    assert worst_responses(flows) == [2_000_000, 3_000_000, 3_500_000]


def test_flows_that_fill_the_line_have_no_bound() -> None:
    flows = [Flow(1_000_000, 2_000_000), Flow(1_000_000, 2_000_000)]
    assert worst_responses(flows)[1] is None


@given(st.integers(1, 30), st.integers(1, 120), st.integers(1, 6), st.integers(0, 300))
def test_the_lowest_of_flows_that_are_alike_waits_as_the_analysis_has_it(
    cost: int, period: int, count: int, blocking: int
) -> None:
    """Against the analysis of any flows."""
    flow = Flow(cost, period)
    assert lowest_response(flow, count, blocking) == worst_responses([flow] * count, blocking)[-1]


@given(
    st.lists(st.tuples(st.integers(1, 20), st.integers(40, 200)), min_size=1, max_size=4),
    st.integers(0, 20),
    st.lists(st.integers(0, 60), min_size=4, max_size=4),
)
def test_no_response_is_worse_than_the_bound(flows: list[tuple[int, int]], blocking: int, offsets: list[int]) -> None:
    """Against a plain simulation, millisecond by millisecond, of strictly periodic releases."""
    bounds = worst_responses([Flow(cost, period) for cost, period in flows], blocking)
    waiting: list[tuple[int, int, int]] = []  # priority, released, cost
    free = blocking
    worst = [0] * len(flows)
    for now in range(2000):
        for number, (cost, period) in enumerate(flows):
            if now >= offsets[number] and (now - offsets[number]) % period == 0:
                waiting.append((number, now, cost))
        if now >= free and waiting:
            number, released, cost = waiting.pop(waiting.index(min(waiting)))
            free = now + cost
            worst[number] = max(worst[number], free - released)
    for seen, bound in zip(worst, bounds, strict=True):
        assert bound is None or seen <= bound


# -- many masters --------------------------------------------------------------------------------------------


def test_senders_at_will_get_through_as_abramson_says() -> None:
    """G e^(-2G): 0.1839 at G = 0.5, its maximum, and 0.1353 at G = 1. Abramson 1970."""
    assert pure_aloha(0.5) == pytest.approx(0.1839, abs=5e-5)
    assert pure_aloha(1.0) == pytest.approx(0.1353, abs=5e-5)
    offered = np.linspace(0.01, 2, 200)
    assert offered[np.argmax(pure_aloha(offered))] == pytest.approx(0.5, abs=0.01)


def test_senders_that_listen_first_get_through_as_kleinrock_and_tobagi_say() -> None:
    """a = 0.01, G = 1: 0.4926. IEEE Trans. Comm. 23(12), 1975 (formula second-hand)."""
    assert carrier_sense(1.0, 0.01) == pytest.approx(0.4926, abs=1e-4)


@given(st.floats(0.01, 3))
def test_two_equal_senders_are_disturbed_as_in_aloha(offered: float) -> None:
    """A frame of 1 among others at rate G, each of 1, is whole with e^(-2G): Abramson 1970."""
    assert offered * undisturbed(1.0, offered, 1.0) == pytest.approx(pure_aloha(offered))

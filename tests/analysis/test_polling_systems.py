"""Laws of other ways to share a line: against published values, limits that any text has, and small simulations."""

from __future__ import annotations

import heapq
from collections import deque

import numpy as np
import pytest

from busim.analysis.budget import (
    carrier_sense,
    exhaustive_wait,
    gated_wait,
    limited_wait,
    persistent_carrier_sense,
    pure_aloha,
    service_wait,
    timed_token_cycle,
    token_cycle,
    vacation_wait,
)

WAITS = {"exhaustive": exhaustive_wait, "gated": gated_wait, "limited": limited_wait}


@pytest.mark.parametrize(
    ("law", "most"), [(persistent_carrier_sense, 0.529), (carrier_sense, 0.815), (lambda g, _: pure_aloha(g), 0.184)]
)
def test_the_most_that_gets_through_is_what_kleinrock_and_tobagi_print(law: object, most: float) -> None:
    """Capacities for a = 0.01: 1-persistent 0.529, non-persistent 0.815, pure ALOHA 0.184.

    Kleinrock and Tobagi, IEEE Trans. Comm. 23(12), 1975, table of capacities (from memory).
    """
    offered = np.geomspace(0.01, 100, 20_000)
    assert float(np.max(law(offered, 0.01))) == pytest.approx(most, abs=0.0005)  # type: ignore[operator]


def test_persistent_senders_that_hear_at_once_follow_the_limit() -> None:
    """a = 0: G e^-G (1 + G) / (G + e^-G), 0.538 at most. Kleinrock and Tobagi 1975 (from memory)."""
    offered = np.linspace(0.1, 5, 50)
    limit = offered * np.exp(-offered) * (1 + offered) / (offered + np.exp(-offered))
    assert persistent_carrier_sense(offered, 0.0) == pytest.approx(limit)
    assert float(np.max(limit)) == pytest.approx(0.538, abs=0.001)


@pytest.mark.parametrize("kind", WAITS)
def test_without_walks_all_of_them_are_one_queue(kind: str) -> None:
    """Pollaczek-Khinchine, any queueing text: the order of service leaves the mean wait as it is."""
    assert WAITS[kind](5, 0.1, 1.0, 2.0, 0.0) == pytest.approx(service_wait(0.5, 1.0, 2.0))


def test_a_single_station_served_exhaustively_is_a_queue_with_vacations() -> None:
    """Doshi 1986; Bertsekas and Gallager 3.5 (from memory)."""
    assert exhaustive_wait(1, 0.5, 1.0, 1.0, 2.0, 0.3) == pytest.approx(vacation_wait(0.5, 1.0, 1.0, 2.0, 4.3))


@pytest.mark.parametrize("kind", WAITS)
def test_where_the_load_leaves_nothing_there_is_no_number(kind: str) -> None:
    waits = WAITS[kind](4, np.array([0.1, 0.3]), 1.0, 1.0, 0.1)
    assert np.isnan(waits).tolist() == [False, True]


@pytest.mark.parametrize("kind", WAITS)
def test_waits_are_those_of_a_simulated_round(kind: str) -> None:
    """4 stations, load 0.5, walks of 0.2: within 3 %. The simulation is an order of events and nothing else."""
    assert simulated(kind, 4, 0.125, 1.0, 0.2) == pytest.approx(WAITS[kind](4, 0.125, 1.0, 1.0, 0.2), rel=0.03)


def simulated(kind: str, stations: int, rate: float, service: float, walk: float) -> float:
    """Mean wait of 60,000 messages."""
    chance = np.random.Generator(np.random.PCG64(7))
    coming = [(chance.exponential(1 / rate), station) for station in range(stations)]
    heapq.heapify(coming)
    queues: list[deque[float]] = [deque() for _ in range(stations)]
    now, waited, count, at = 0.0, 0.0, 0, 0

    def come() -> None:
        while coming[0][0] <= now:
            time, station = heapq.heappop(coming)
            queues[station].append(time)
            heapq.heappush(coming, (time + chance.exponential(1 / rate), station))

    while count < 60_000:
        come()
        left = {"exhaustive": 10**9, "gated": len(queues[at]), "limited": 1}[kind]
        while queues[at] and left:
            waited += now - queues[at].popleft()
            count, left, now = count + 1, left - 1, now + service
            come()
        now, at = now + walk, (at + 1) % stations
    return waited / count


def test_a_token_comes_round_within_its_bounds() -> None:
    """An MS/TP token of 8 octets and a turnaround of 40 bit times is 3.125 ms at 38400 Bd: derived from ANSI/ASHRAE 135
    clause 9 (second-hand). Four stations that send one frame of 20 ms at most."""
    token = (8 * 10 + 40) / 38400
    assert token == pytest.approx(3.125e-3)
    shortest, longest = token_cycle(4, token, 20e-3, 1)
    assert (shortest, longest) == (pytest.approx(12.5e-3), pytest.approx(92.5e-3))


def test_a_timed_token_is_never_away_for_twice_its_target() -> None:
    """Sevcik and Johnson 1987 (from memory): for any load. The guaranteed times and the walk together do not exceed the
    target; a station may use the time by which the token is early.
    """
    chance = np.random.Generator(np.random.PCG64(3))
    target, stations, walk = 10.0, 5, 0.2
    own = (target - stations * walk) / stations
    mean, longest = timed_token_cycle(target)
    now, last = 0.0, [0.0] * stations
    rotations = []
    for step in range(20_000):
        station = step % stations
        rotation, last[station] = now - last[station], now
        if step >= stations:
            rotations.append(rotation)
        early = max(0.0, target - rotation) if step >= stations else 0.0
        now += own * float(chance.integers(0, 2)) + early * float(chance.integers(0, 2)) + walk
    assert max(rotations) <= longest + 1e-9
    assert np.mean(rotations) <= mean + 1e-9

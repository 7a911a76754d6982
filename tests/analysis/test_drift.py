"""Polls of one interval that drift apart: the law against a small simulation of the same rules."""

from __future__ import annotations

import math

import numpy as np
import pytest

from busim.analysis.budget import Distribution, drifts
from busim.analysis.budget.drift import SESSION, Commands, lateness_left
from busim.analysis.budget.timetable import Slot

EVERY, POLL, SERVICE = 250e6, 25e6, 24e6  # ns
RATE = 10e-9  # commands per ns
LOAD = RATE * SERVICE
SLOT = Slot(EVERY, POLL / (1 - LOAD), POLL / (1 - LOAD))
COMMANDS = Commands(RATE, Distribution.certain(SERVICE), LOAD)


def simulated(polls: int, hours: float, seed: int) -> list[float]:
    """Variance of the lateness (ns^2) of each poll that is due every 250 ms. Commands go first, at random instants; a
    poll that is answered after it was due again is due at its answer."""
    chance = np.random.Generator(np.random.PCG64(seed))
    due, late = [0.0] * polls, [[0.0] for _ in range(polls)]
    now, coming = 0.0, chance.exponential(1 / RATE)
    while now < hours * 3600e9:
        if coming <= now:
            now, coming = now + SERVICE, coming + chance.exponential(1 / RATE)
            continue
        number = due.index(min(due))
        if due[number] > now:
            now = min(due[number], coming)
            continue
        late[number].append(now - due[number])
        now += POLL
        due[number] = max(due[number] + EVERY, now)
    return [float(np.var(one)) for one in late]


def test_the_last_of_four_polls_is_less_and_less_late_in_an_hour() -> None:
    """Of five sessions, beside the lateness of a poll that is alone: within 15 % of the variance that each has while
    all are due together."""
    before = [number * SLOT.occupied for number in range(4)]
    left = lateness_left([SLOT] * 4, before, COMMANDS)
    found = np.mean([simulated(4, 1.0, seed) for seed in range(5)], axis=0)
    (alone,) = simulated(1, 1.0, 0)
    added = RATE * SERVICE**2 / (1 - LOAD) ** 2  # per ns before a poll: r E[S^2] / (1 - rho)^2
    together = [added * time for time in before]
    assert left[0] == 1.0
    assert left[3] < 0.7
    for number in (1, 2, 3):
        assert left[number] == pytest.approx((found[number] - alone) / together[number], abs=0.15), number


def test_where_no_poll_loses_its_place_all_stay_as_late_as_they_were() -> None:
    few = Commands(RATE / 10, Distribution.certain(SERVICE), LOAD / 10)
    assert lateness_left([SLOT] * 2, [0.0, SLOT.occupied], few) == [1.0, 1.0]


def test_no_session_is_left_out_in_which_a_place_is_lost() -> None:
    """The chance that Poisson commands are more work than there is time for, summed over the rounds of an hour: where
    it is not below 1e-4, `drifts` says so (Poisson sums, any text)."""
    for rate in np.linspace(0.5e-9, 12e-9, 24):
        load = rate * SERVICE
        before = 50e6 / (1 - load)
        left = EVERY - POLL
        needed = math.floor((left - before * (1 - load)) / SERVICE)  # commands that fit, one under way left out
        mean = rate * left
        lost = 1 - sum(math.exp(-mean + n * math.log(mean) - math.lgamma(n + 1)) for n in range(needed))
        drifting = drifts(EVERY, before, POLL, rate, SERVICE**2, SERVICE, load)
        assert drifting or lost * SESSION / EVERY < 1e-4

"""Waiting: the time of a command before it is sent, by queueing theory. Over numbers or arrays.

Rates are per unit of time, times in the same unit. Where the load reaches 1 there is no steady state and therefore no
number: the result is nan (the budget says in words by how much).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from busim.physics.exchange import Numbers


def _steady(wait: Numbers, load: Numbers) -> Numbers:
    """The wait if the load is below 1, else nan."""
    kept = np.where(np.less(load, 1), wait, np.nan)
    return kept if kept.ndim else float(kept)


def _share_left(load: Numbers) -> Numbers:
    """1 - load, and 1 where there is no steady state, so that nothing is divided by 0."""
    return np.where(np.less(load, 1), 1 - load, 1.0)


def fixed_service_wait(rate: Numbers, service: Numbers) -> Numbers:
    """Mean wait of an M/D/1 queue: rho S / (2 (1 - rho)). Pollaczek-Khinchine, any queueing text."""
    return service_wait(rate, service, service * service)


def service_wait(rate: Numbers, service: Numbers, square: Numbers) -> Numbers:
    """Mean wait of an M/G/1 queue: lambda E[S^2] / (2 (1 - rho)), with `square` E[S^2]. Pollaczek-Khinchine."""
    load = rate * service
    return _steady(rate * square / (2 * _share_left(load)), load)


def vacation_wait(
    rate: Numbers, service: Numbers, square: Numbers, vacation: Numbers, vacation_square: Numbers
) -> Numbers:
    """Mean wait of a command into a poll loop that never rests: commands first, a poll of V not interrupted.

    lambda E[S^2] / (2 (1 - rho)) + E[V^2] / (2 E[V]): M/G/1 with vacations, Doshi 1986; Bertsekas and Gallager 3.5
    (from memory).
    """
    return service_wait(rate, service, square) + vacation_square / (2 * vacation)


def priority_waits(rates: Sequence[Numbers], services: Sequence[Numbers], squares: Sequence[Numbers]) -> list[Numbers]:
    """Mean waits of classes of a non-preemptive queue, the first class first.

    W_k = R / ((1 - s_(k-1)) (1 - s_k)), R = sum of lambda E[S^2] / 2, s_k the load of classes 1 to k. Cobham 1954;
    Kleinrock vol. 2 (from memory). A class for which s_k reaches 1 has no steady wait.
    """
    residual = sum(rate * square for rate, square in zip(rates, squares, strict=True)) / 2
    waits: list[Numbers] = []
    before: Numbers = 0.0
    for rate, service in zip(rates, services, strict=True):
        after = before + rate * service
        waits.append(_steady(residual / (_share_left(before) * _share_left(after)), after))
        before = after
    return waits

"""Other ways to share a line: a server that goes round N queues, and a token that does. Over numbers or arrays.

All N stations are alike. Each has messages at random (Poisson) at `rate`, with the mean time `service` and the mean
square `square`; moving from one station to the next takes `walk` on average, with the variance `spread`. Rates per
unit of time, times in that unit. Where there is no steady state the result is nan.

    exhaustive   a station sends until it has nothing left
    gated        it sends what it had when its turn came
    limited      it sends one message

Takagi, "Queuing analysis of polling models", ACM Computing Surveys 20(1), 1988 (from memory). The tests hold each law
to a simulation, and to the M/G/1 queue that it becomes without walks.
"""

from __future__ import annotations

import numpy as np

from busim.physics.exchange import Numbers


def exhaustive_wait(
    stations: int, rate: Numbers, service: Numbers, square: Numbers, walk: Numbers, spread: Numbers = 0.0
) -> Numbers:
    """Mean wait: s / (2 w) + (N r E[S^2] + w (N - rho)) / (2 (1 - rho)), rho = N r E[S]."""
    load = stations * rate * service
    return _wait(stations * rate * square + walk * (stations - load), load, walk, spread)


def gated_wait(
    stations: int, rate: Numbers, service: Numbers, square: Numbers, walk: Numbers, spread: Numbers = 0.0
) -> Numbers:
    """Mean wait: s / (2 w) + (N r E[S^2] + w (N + rho)) / (2 (1 - rho))."""
    load = stations * rate * service
    return _wait(stations * rate * square + walk * (stations + load), load, walk, spread)


def limited_wait(
    stations: int, rate: Numbers, service: Numbers, square: Numbers, walk: Numbers, spread: Numbers = 0.0
) -> Numbers:
    """Mean wait: s / (2 w) + (N r E[S^2] + w (N + rho) + N r s) / (2 (1 - rho - N r w))."""
    load = stations * rate * service
    numerator = stations * rate * square + walk * (stations + load) + stations * rate * spread
    return _wait(numerator, load + stations * rate * walk, walk, spread)


def _wait(numerator: Numbers, load: Numbers, walk: Numbers, spread: Numbers) -> Numbers:
    left = np.where(np.less(load, 1), 1 - np.asarray(load), np.nan)
    moving = np.where(np.greater(walk, 0), spread / np.where(np.greater(walk, 0), 2 * np.asarray(walk), 1.0), 0.0)
    wait = moving + numerator / (2 * left)
    return wait if wait.ndim else float(wait)


def token_cycle(stations: int, token: Numbers, frame: Numbers, frames: int) -> tuple[Numbers, Numbers]:
    """Shortest and longest time in which a token comes round: nobody sends, or everybody sends all that it may.

    `token`: passing it on once; `frame`: the longest message with its answer; `frames`: how many a station may send
    each time. Arithmetic; MS/TP has such a limit (ANSI/ASHRAE 135 clause 9, second-hand).
    """
    return stations * token, stations * (token + frames * frame)


def timed_token_cycle(target: Numbers, overrun: Numbers = 0.0) -> tuple[Numbers, Numbers]:
    """Bounds of the mean and of the longest rotation of a timed token: the target, and twice the target.

    `overrun`: of the last message that a station began in time. Sevcik and Johnson, "Cycle time properties of the FDDI
    token ring protocol", IEEE Trans. Software Eng. 13(3), 1987 (from memory).
    """
    return target + overrun, 2 * target + overrun

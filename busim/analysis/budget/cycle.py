"""The poll cycle: the time until every camera has been polled again. Over numbers or arrays.

Polls without a wanted rate fill the time that paced polls and commands leave. That is the law of the polling cycle,
E[C] = R / (1 - rho) (Takagi 1986, from memory), with R the sum of the polls without a wanted rate and rho the load of
all others. A paced poll that the line cannot serve at its pace also comes once a cycle.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence

import numpy as np
import numpy.typing as npt

from busim.physics.exchange import Numbers

Array = npt.NDArray[np.float64]


def mean_cycle(walk: Numbers, load: Numbers) -> Numbers:
    """Mean cycle walk / (1 - load): exhaustive or gated service, Takagi 1986 (from memory). nan from a load of 1 on."""
    cycle = np.where(np.less(load, 1), walk / np.where(np.less(load, 1), 1 - load, 1.0), np.nan)
    return cycle if cycle.ndim else float(cycle)


def paced_cycle(occupied: Array, every: Array, load: Numbers = 0.0) -> Array:
    """The cycle of polls that share one master. Each comes once in `every` or, if that is too often, once a cycle.

    `occupied` and `every` have the polls on their last axis: the time the master is inside one exchange, and the wanted
    time between two (0: without rest). `load`: the share that commands take. The cycle C solves sum of occupied /
    max(every, C) = 1 - load; a poll's own period is then max(every, C). C is 0 if all polls keep their pace, and nan if
    commands alone fill the line.
    """
    occupied, every = np.asarray(occupied, float), np.asarray(every, float)
    if occupied.shape != every.shape:
        occupied, every = np.broadcast_arrays(occupied, every)
    shape, polls = occupied.shape[:-1], occupied.shape[-1]
    loads = np.asarray(load, float)
    if loads.shape != shape:
        shape = np.broadcast_shapes(shape, loads.shape)
        loads = np.broadcast_to(loads, shape)
        occupied, every = (np.broadcast_to(times, (*shape, polls)) for times in (occupied, every))
    rows = np.arange(loads.size)
    cycles = _cycles(occupied.reshape(-1, polls), every.reshape(-1, polls), loads.reshape(-1), rows)
    return cycles.reshape(shape)


def one_cycle(rates: Collection[tuple[float, float]], load: float = 0.0) -> float:
    """`paced_cycle` of one line in plain numbers: (every, occupied) of each poll, or of all that have one pace."""
    if load >= 1:
        return math.nan
    free, walk, fastest = 1.0 - load, 0.0, math.inf
    for every, occupied in rates:
        if every:
            free -= occupied / every
            fastest = every if every < fastest else fastest
        else:
            walk += occupied
    if walk and free > 0 and walk / free <= fastest:
        return walk / free
    if not walk and free >= 0:
        return 0.0
    return _late_cycle(sorted(rates), free)


def _late_cycle(ordered: Sequence[tuple[float, float]], free: float) -> float:
    """The same where polls with a pace cannot keep it, the fastest first. `free`: what all with a pace would leave."""
    needed = 0.0
    for place, (every, occupied) in enumerate(ordered):
        needed += occupied
        free += occupied / every if every else 0.0
        if free <= 0:
            continue
        cycle = needed / free
        if place + 1 == len(ordered) or cycle <= ordered[place + 1][0]:
            return 0.0 if ordered[0][0] and cycle <= ordered[0][0] else cycle
    return math.nan


def _cycles(occupied: Array, every: Array, load: Array, rows: npt.NDArray[np.int64]) -> Array:
    """[case] from [case, poll] and [case]."""
    order = every.argsort(axis=1, kind="stable")
    occupied, every = occupied[rows[:, np.newaxis], order], every[rows[:, np.newaxis], order]
    paced = occupied / np.where(every > 0, every, np.inf)
    # With the n fastest polls never resting: what they need, and what the others leave them.
    needed = occupied.cumsum(axis=1)
    free = 1 - load[:, np.newaxis] - (paced.sum(axis=1, keepdims=True) - paced.cumsum(axis=1))
    possible = (free > 0) & (load < 1)[:, np.newaxis]
    cycles = np.where(possible, needed / np.where(possible, free, 1.0), np.inf)
    # The right n is the first at which the next poll keeps its pace.
    fits = possible.copy()
    fits[:, :-1] &= cycles[:, :-1] <= every[:, 1:]
    chosen = cycles[rows, fits.argmax(axis=1)]
    cycle = np.where(fits.any(axis=1), chosen, np.nan)
    return np.where((every[:, 0] > 0) & (cycle <= every[:, 0]), 0.0, cycle)

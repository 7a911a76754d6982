"""The poll cycle: how long until every camera has been asked again. Over numbers or arrays.

A master's exchanges that never rest fill whatever time the paced ones and the commands leave. That is the law of the
polling cycle, E[C] = R / (1 - rho) (Takagi 1986, from memory), with R the sum of what never rests and rho the load
of the rest. A paced poll that the line cannot serve at its pace never rests either: it is asked once a cycle.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from busim.exchange import Numbers


def mean_cycle(walk: Numbers, load: Numbers) -> Numbers:
    """Mean cycle walk / (1 - load): exhaustive or gated service, Takagi 1986 (from memory). nan from a load of 1 on."""
    cycle = np.where(np.less(load, 1), walk / np.where(np.less(load, 1), 1 - load, 1.0), np.nan)
    return cycle if cycle.ndim else float(cycle)


def paced_cycle(
    occupied: npt.NDArray[np.float64], every: npt.NDArray[np.float64], load: Numbers = 0.0
) -> npt.NDArray[np.float64]:
    """The cycle of polls that share one master, each asked once in `every` or, where that is too often, once a cycle.

    `occupied` and `every` have the polls on their last axis: the time the master is inside one exchange, and the
    wanted time between two (0: without rest). `load`: the share that commands take. The cycle C solves sum of
    occupied / max(every, C) = 1 - load; a poll's own period is then max(every, C). C is 0 where everything
    keeps its pace, and nan where commands alone fill the line.
    """
    occupied, every = np.broadcast_arrays(np.asarray(occupied, float), np.asarray(every, float))
    order = np.argsort(every, axis=-1)
    occupied = np.take_along_axis(occupied, order, axis=-1)
    every = np.take_along_axis(every, order, axis=-1)
    paced = np.divide(occupied, every, out=np.zeros_like(occupied), where=every > 0)
    # With the n fastest polls never resting: what they need, and what the others leave them.
    needed = np.cumsum(occupied, axis=-1)
    others = np.cumsum(paced[..., ::-1], axis=-1)[..., ::-1] - paced
    free = 1 - np.asarray(load)[..., np.newaxis] - others
    cycles = np.divide(needed, free, out=np.full(needed.shape, np.inf), where=free > 0)
    # The right n is the first at which the next poll keeps its pace.
    next_pace = np.concatenate([every[..., 1:], np.full((*every.shape[:-1], 1), np.inf)], axis=-1)
    fits = (cycles <= next_pace) & (free > 0)
    chosen = np.argmax(fits, axis=-1)[..., np.newaxis]
    cycle = np.take_along_axis(cycles, chosen, axis=-1)[..., 0]
    cycle = np.where(fits.any(axis=-1), cycle, np.nan)
    rests = (every[..., 0] > 0) & (cycle <= every[..., 0])
    return np.where(rests, 0.0, cycle)

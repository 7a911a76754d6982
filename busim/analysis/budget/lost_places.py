"""How often polls come that lose their places behind commands and other groups.

A poll with the wanted interval T that begins late by L and takes a until its answer keeps its place while L + a < T.
Otherwise its next interval begins with the answer, and nothing makes up for that. So it comes on average every

    E[I] = T + E[(L + a - T)+]

and the variance of I makes its values older. L depends on the commands in a row, on the polls before this one and on
where they have found places; no textbook law has all of that. So the master's turns are written out (`written_out`: the
recursion of Lindley 1952, from memory), and mean and variance of I are those of the turns.

Time-outs of dead cameras have their own law (`probing`). Times are ns.
"""

from __future__ import annotations

import numpy as np

from busim.analysis.budget.command_delay import COMMANDS_IN_A_ROW
from busim.analysis.budget.distribution import Distribution
from busim.analysis.budget.poll_schedule import PollSchedule

_POLLS = 8000  # that are written out: enough for a mean interval right to about 0.5 %
_SELDOM = 0.65  # share of the master's time, up to which hardly any poll loses its place
_FEW = 0.05  # the same of commands, up to which places settle within hours, and few are lost once they have
_LOST = 1.001  # of a wanted interval: from this mean on polls lose places all the time; below, it is kept


def lost_places(pace: PollSchedule) -> dict[int, Distribution]:
    """The time between two of each living poll, if polls that keep an interval may lose their places; else of none."""
    if pace.cycle or not pace.paces or not _SELDOM < pace.demand < 1:
        return {}
    few = pace.commands_load < _FEW
    if few and len(pace.paces) == 1:
        return {}
    row = COMMANDS_IN_A_ROW * max((pace.costs.each[kind] for kind in pace.layout.moved), default=0.0)
    if pace.occupied / (1 - pace.commands_load) + row < pace.fastest:
        return {}
    found, lost = {}, False
    for number, begun in zip(pace.layout.living, pace.queue.turns(_POLLS).begun, strict=False):  # probes come behind
        every, between = float(pace.case.polls[number].every), np.diff(begun)
        if not len(between):  # it is due so seldom that the turns say nothing of it
            between = np.array([every])
        lost |= between.mean() > _LOST * every
        found[number] = Distribution(between, np.full(len(between), 1 / len(between)), np.zeros(len(between)))
    return found if lost or not few else {}


def comes_every(between: Distribution, every: float) -> float:
    """ns between two of a poll on average: what is wanted, unless the turns show that places are lost."""
    return between.mean if between.mean > _LOST * every else every

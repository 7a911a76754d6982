"""How late time-outs of dead cameras make polls that keep their wanted interval, and how many polls they cost.

Such a time-out is a probe, or a move to a dead camera. It takes the time x. A poll that is due u after its beginning is
late by the rest of it and by what is due before the poll meanwhile: polls take the share p of the time, commands to
other cameras the share c,

    L(u) = (x + p u) / (1 - c) - u

where polls have drifted apart, as they do where a time-out makes them lose their places. Polls that are still due
together have no others between (p = 0), and those behind others are late by all of x if the probe begins in the time
before them. The interval that ends with the late poll is longer by L, and the next one shorter, unless the poll is
answered after it was due again. Then it is asked again after a round of the others, R = p T / (1 - c), and T behind its
answer once more. With the interval T and the time a until the answer, the sum of the squared deviations from T is

    2 L^2                               while L < T - a
    L^2 + (T - R)^2 + (R - a)^2         from there on

The mean over u from 0 to T, times the number of probes in T, is what probes add to the sum V of the squared deviations
from T, per interval wanted. This is derived here. Times are ns, rates per ns.

**Lost polls.** A poll that loses its place is due T after its answer, L + a - T later than it was planned, and nothing
makes up for that. So polls come every

    P = T / (1 - r E[max(0, L(u) + a - T)])

for r probes per ns. About P and not T, the variance of an interval is V P / T - (P - T)^2.

**Several in a row.** A move that comes during a time-out is sent next. So the stops begin at the rate

    p + m (1 - (p + m) x)

for p probes and m moves to dead cameras per ns (a move begins one only if none is under way), and one takes x a number
of times: as many as a busy period with the load h = m x serves customers (the law of Borel; Tanner 1961, from memory),

    P(n) = e^(-h n) (h n)^(n - 1) / n!

After four commands a poll has its turn, so the moves of longer ones count in rows of four. The mean number is
1 / (1 - h), and all stops together have p + m time-outs, as they must.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from busim.analysis.budget.command_delay import COMMANDS_IN_A_ROW
from busim.analysis.budget.timetable import Slot

_INSTANTS = 200  # at which a probe begins, within an interval


def moves_places(slots: Sequence[Slot], before: Sequence[float], longest: float) -> bool:
    """Whether a probe of at most `longest` makes a poll lose its place. `before`: the round until each poll begins."""
    return any(longest + time + slot.answered > slot.every for slot, time in zip(slots, before, strict=True))


def chained(probes: Sequence[tuple[float, float]], moves: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Stops by probes and by moves to dead cameras (of each: how long one takes, and how many per ns), in the same
    form. All count with the mean time of a move, whose load is below 1."""
    often = sum(rate for _, rate in moves)
    if not often:
        return list(probes)
    load = sum(time * rate for time, rate in moves)
    time, probed = load / often, sum(rate for _, rate in probes)
    begun = max(0.0, probed + often * (1 - load - sum(time * rate for time, rate in probes)))
    stops, left = [], 1 / (1 - load)
    for count in range(1, COMMANDS_IN_A_ROW):
        share = math.exp(-load * count) * (load * count) ** (count - 1) / math.factorial(count)
        stops.append((count * time, begun * share))
        left -= count * share
    return [*stops, (COMMANDS_IN_A_ROW * time, begun * left / COMMANDS_IN_A_ROW)]


class Stops(NamedTuple):
    """The stops of a master. `each`: how long one takes, and how many per ns; `polls`, `commands`: shares of the time
    that others take; `apart`: whether polls have drifted apart."""

    each: list[tuple[float, float]]
    polls: float
    commands: float
    apart: bool

    def added(self, slot: Slot, before: float) -> float:
        """ns^2 that they add to the squared deviations of an interval. `before`: the round until the poll begins."""
        every, answered = slot.every, slot.answered
        others = (self.polls if self.apart else 0.0) * every / (1 - self.commands)
        found = 0.0
        for time, often in self.each:
            late = self._late(time, every)
            lost = (every - others) ** 2 + (others - answered) ** 2
            squares = late**2 + np.where(late < every - answered, late**2, lost)
            together = 0.0 if self.apart else 2 * time**2 * before / every
            found += (float(squares.mean()) + together) * often * every
        return found

    def lost(self, slot: Slot) -> float:
        """The share of the polls that they cost."""
        if not self.apart:
            return 0.0
        late = [(often, self._late(time, slot.every) + slot.answered - slot.every) for time, often in self.each]
        return sum(often * float(np.maximum(0.0, more).mean()) for often, more in late)

    def _late(self, time: float, every: float) -> npt.NDArray[np.float64]:
        """ns that a poll is late, for each instant within an interval at which a stop of this length begins."""
        due = every * (np.arange(_INSTANTS) + 0.5) / _INSTANTS
        share = self.polls if self.apart else 0.0
        return np.maximum(0.0, (time + share * due) / (1 - self.commands) - due)


def stops(
    slots: Sequence[Slot], before: Sequence[float], probes: list[tuple[float, float]], moves: list[tuple[float, float]],
    polls: float, commands: float,
) -> Stops:  # fmt: skip
    """The stops of a master. `probes` and `moves` as in `chained`; `before` as in `moves_places`; `polls`, `commands`:
    shares of the time. Moves are stops only where one takes so long that polls lose their places: elsewhere they are
    commands like others."""
    longest = max((time for time, _ in (*probes, *moves)), default=0.0)
    if not longest or not moves_places(slots, before, longest):
        return Stops(probes, polls, commands, apart=False)
    return Stops(chained(probes, moves), polls, commands - sum(time * often for time, often in moves), apart=True)

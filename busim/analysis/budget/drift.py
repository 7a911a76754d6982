"""How polls of one wanted interval drift apart, and how late they still are.

After a start all of them are due at once, and each is late by what goes before it. A poll that is answered only after
it was due again loses its place: its next interval begins with the answer. So the places move apart, ever more slowly,
for hours, and polls make each other less late.

B is the time from the instant at which all were due together until a poll begins: the polls before it, and the
commands that come meanwhile. Once its place has moved by p, it is late by (B - p)+. With the interval T and the time a
from its beginning to its answer, one round moves its place on average by

    E[(B + a - T - p)+]        with E[(B - y)+] the integral of P(B > x) from y on

and the share of the variance of its lateness that is left is

    Var[(B - p)+] / Var[B]     with E[((B - y)+)^2] twice the integral of E[(B - x)+] from y on

(integration by parts, any text on probability). A session lasts an hour here; the share is the mean over it. Times are
ns, rates per ns.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from busim.analysis.budget.distribution import Distribution
from busim.analysis.budget.rounds import Complex, RareSum
from busim.analysis.budget.timetable import Slot
from busim.physics.exchange import Numbers

SESSION = 3600e9  # ns, of which ages are the mean
_INSTANTS = 4  # of a session, at which places are looked at
_SURE = math.log(1e-4)  # of a chance of one lost place in a session that is left out
_NOTHING = 1e-9  # ns by which a place moves in a round: less is rounding
_INTERVALS = 3  # that the grid reaches


class Commands(NamedTuple):
    """Commands at a master: how many per ns are sent, how long it is inside one, the share of time that all take."""

    rate: float
    serving: Distribution
    load: float

    @property
    def added(self) -> float:
        """ns^2 that they add to the variance of a time for each ns of it, r E[S^2] (a compound Poisson process, any
        text), while that time grows by those that come meanwhile."""
        return self.rate * self.serving.square / (1 - self.load) ** 2

    def waiting(self, total: RareSum) -> Complex:
        """The characteristic function of what commands wait at an instant, on the grid of a sum.

        It is a geometric number of residual services (Pollaczek-Khinchine, any queueing text): (1 - rho) / (1 - rho
        phi_R).
        """
        one = self.serving
        rest = Distribution(one.values / 2, one.weights * one.values / one.mean, one.values)
        return np.asarray((1 - self.load) / (1 - self.load * total.transform(rest)))

    def while_polling(self, total: RareSum, round_time: float) -> Complex:
        """The same of the commands sent while polls go on for `round_time`, the commands among them counted in.

        As many as in a delay busy period: variance n / (1 - rho)^2 of their number (Kleinrock vol. 1, from memory).
        """
        count = self.rate * round_time
        return total.counted(self.serving, count, count / (1 - self.load) ** 2)


def drifts(
    every: Numbers, before: Numbers, answered: Numbers, rate: Numbers, square: Numbers, longest: Numbers, load: Numbers
) -> npt.NDArray[np.bool_]:
    """Whether a poll may lose its place in a session. Over numbers or arrays.

    `before`: the round until it begins; `answered`: from there to its answer; of commands: `rate`, mean `square` and
    `longest` time of one, `load`. It begins later than x = T - a only if the polls before it, a command under way and
    those that come in x are more work than x. Bennett's inequality (any text on probability; from memory) bounds the
    chance that those are d more work than on average: e^(-v / S^2 h(S d / v)), with v = r E[S^2] x and h(u) = (1 + u)
    ln(1 + u) - u.
    """
    left = np.asarray(every) - answered
    more = np.maximum(0.0, left * (1 - load) - before * (1 - load) - longest)
    often = np.maximum(_NOTHING, rate * square * left) / np.maximum(1.0, longest) ** 2
    part = more / np.maximum(1.0, longest) / often
    exponent = often * ((1 + part) * np.log1p(part) - part)
    return np.asarray((rate > 0) & (exponent < np.log(SESSION / every) - _SURE))


def lateness_left(slots: Sequence[Slot], before: Sequence[float], commands: Commands) -> list[float]:
    """Of each poll, the share of the variance of its lateness that is left while they drift apart, over a session.

    All `slots` have one interval, and come in this order; `before`: the round until each of them begins.
    """
    found = [1.0] * len(slots)
    serving, rate, load = commands.serving, commands.rate, commands.load
    for number in reversed(range(len(slots))):
        slot, time = slots[number], before[number]
        if not time or not drifts(slot.every, time, slot.answered, rate, serving.square, serving.longest, load):
            break  # those before it are less late, and keep their places too
        found[number] = _left(slot, time, commands)
    return found


def _left(slot: Slot, before: float, commands: Commands) -> float:
    """The same of one poll."""
    total = RareSum(_INTERVALS * slot.every)
    total.add(Distribution.certain(before * (1 - commands.load)))
    total.multiply(commands.waiting(total))
    total.multiply(commands.while_polling(total, before))
    places, late = total.surplus()
    step = places[1]
    moved = np.maximum(np.interp(places + slot.every - slot.answered, places, late), _NOTHING)
    # ns until a place is reached; the pace falls by about the same factor from cell to cell
    reached = np.concatenate([[0.0], np.cumsum(step * slot.every / np.sqrt(moved[1:] * moved[:-1]))])
    instants = SESSION * (np.arange(_INSTANTS) + 0.5) / _INSTANTS
    squares = 2 * step * (late[::-1].cumsum()[::-1] - late / 2)
    variance = squares - late**2
    return float(np.interp(np.interp(instants, reached, places), places, variance / variance[0]).mean())

"""How late probes of dead cameras make polls that keep their wanted interval.

A probe takes the time x. A poll that is due u after its beginning is late by the rest of it and by what is due before
the poll meanwhile: polls take the share p of the time, commands the share c,

    L(u) = (x + p u) / (1 - c) - u

where polls have drifted apart, as they do where a probe makes them lose their places. Polls that are still due together
have no others between (p = 0), and those behind others are late by all of x if the probe begins in the time before
them. The interval that ends with the late poll is longer by L, and the next one shorter, unless the poll is answered
after it was due again. Then it is asked again after a round of the others, R = p T / (1 - c), and T behind its answer
once more. With the interval T and the time a until the answer, the sum of the squared deviations from T is

    2 L^2                               while L < T - a
    L^2 + (T - R)^2 + (R - a)^2         from there on

The mean over u from 0 to T, times the number of probes in T, is what probes add to the variance of an interval. This is
derived here; it takes one probe at a time. Times are ns, rates per ns.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from busim.analysis.budget.timetable import Slot

_INSTANTS = 200  # at which a probe begins, within an interval


def moves_places(slots: Sequence[Slot], before: Sequence[float], longest: float) -> bool:
    """Whether a probe of at most `longest` makes a poll lose its place. `before`: the round until each poll begins."""
    return any(longest + time + slot.answered > slot.every for slot, time in zip(slots, before, strict=True))


def added(
    slot: Slot, before: float, probes: Sequence[tuple[float, float]], polls: float, commands: float, *, apart: bool
) -> float:
    """ns^2 that probes add to the variance of an interval. `probes`: of each dead camera how long one takes, and how
    many per ns; `polls`, `commands`: shares of the time; `apart`: whether polls have drifted apart."""
    every, answered = slot.every, slot.answered
    due = every * (np.arange(_INSTANTS) + 0.5) / _INSTANTS
    share = polls if apart else 0.0
    others = polls * every / (1 - commands)
    found = 0.0
    for time, often in probes:
        late = np.maximum(0.0, (time + share * due) / (1 - commands) - due)
        lost = (every - others) ** 2 + (others - answered) ** 2
        squares = late**2 + np.where(late < every - answered, late**2, lost)
        together = 0.0 if apart else 2 * time**2 * before / every
        found += (float(squares.mean()) + together) * often * every
    return found

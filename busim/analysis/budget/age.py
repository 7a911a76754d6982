"""Age: now minus the instant at which the camera read the value that is shown (Kaul, Yates, Gruteser, "Real-time
status: how often should one update?", INFOCOM 2012; from memory). Over numbers or arrays.
"""

from __future__ import annotations

from busim.physics.exchange import Numbers


def mean_age(cycle: Numbers, cycle_square: Numbers, delivery: Numbers) -> Numbers:
    """Mean over time, E[C^2] / (2 E[C]) + D, for a cycle of mean `cycle` and mean square `cycle_square`."""
    return cycle_square / (2 * cycle) + delivery


def worst_age(cycle: Numbers, delivery: Numbers) -> Numbers:
    """The largest it becomes, C + D, just before the next delivery."""
    return cycle + delivery

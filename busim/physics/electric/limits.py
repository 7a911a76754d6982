"""Published limits for supplies: classes of power over Ethernet, and advice on voltage drop."""

from __future__ import annotations

from dataclasses import dataclass

from busim.foundation.errors import UserError
from busim.physics.electric.bounds import Published


@dataclass(frozen=True, slots=True)
class PoeClass:
    """A class of power over Ethernet: W at the source, W for the device at the end of the cable."""

    source_watts: float
    device_watts: float


# IEEE 802.3bt (from memory)
POE = {
    1: PoeClass(4.0, 3.84),
    2: PoeClass(7.0, 6.49),
    3: PoeClass(15.4, 12.95),
    4: PoeClass(30.0, 25.5),
    5: PoeClass(45.0, 40.0),
    6: PoeClass(60.0, 51.0),
    7: PoeClass(75.0, 62.0),
    8: PoeClass(90.0, 71.3),
}


def poe_class(number: int) -> PoeClass:
    """The class of this number, 0 to 8; 0 gets the power of class 3 (IEEE 802.3af, from memory). Raises UserError."""
    found = POE.get(number or 3)
    if found is None:
        raise UserError("there is no such PoE class", found=str(number), expected="0 to 8")
    return found


# Shares of the supply voltage: advice, not a rule; the local code decides.
BRANCH_DROP = Published(0.03, "NEC 210.19(A), informational note: 3 % on a branch")
WHOLE_DROP = Published(0.05, "NEC 210.19(A), informational note: 5 % in all")


def drop_advice(part: float) -> Published | None:
    """The advice that this voltage drop exceeds: 5 % in all before 3 % on a branch. None if it keeps both.

    `part`: share of the supply voltage. NEC 210.19(A), informational note.
    """
    if part > WHOLE_DROP.value:
        return WHOLE_DROP
    return BRANCH_DROP if part > BRANCH_DROP.value else None

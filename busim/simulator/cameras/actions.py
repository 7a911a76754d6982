"""The output of a camera besides replies: events that happened, and wishes.

A camera has no clock and no line. It says when it wants to be called again and when it goes down or deaf; its port
carries that out.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from busim.foundation.units import CharFormat


class Changed(NamedTuple):
    """A parameter has a new value."""

    name: str
    value: int


class Refused(NamedTuple):
    """A request was refused, for a reason that its code does not show."""

    what: str
    reason: str


class Did(NamedTuple):
    """Something else happened: a save, a power cut."""

    what: str


class Wake(NamedTuple):
    """Wish: call `woken` at this instant (ns)."""

    at: int


class Deaf(NamedTuple):
    """It hears nothing from the end of its reply until this instant (ns)."""

    until: int


class NewId(NamedTuple):
    """From now on this is its bus ID."""

    bus_id: int


class NewPort(NamedTuple):
    """From now on its port has this baud and character format."""

    baud: Fraction
    format: CharFormat


class Restart(NamedTuple):
    """Wish: switch its power off and on after its answer."""


Action = Changed | Refused | Did | Wake | Deaf | NewId | NewPort | Restart

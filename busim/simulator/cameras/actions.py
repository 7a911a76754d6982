"""What comes out of a camera besides replies: what has happened, and what it wishes to be done.

A camera has no clock and no line, so it says when it wants to be looked at again and when it goes down or deaf, and
whoever carries it sees to that.
"""

from __future__ import annotations

from typing import NamedTuple


class Changed(NamedTuple):
    """A parameter has a new value."""

    name: str
    value: int


class Refused(NamedTuple):
    """A request was refused, for a reason that its code does not tell."""

    what: str
    reason: str


class Did(NamedTuple):
    """Something else happened: a save, a power cut."""

    what: str


class Wake(NamedTuple):
    """Call `woken` at this instant (ns)."""

    at: int


class Deaf(NamedTuple):
    """From the end of its reply it hears nothing until this instant (ns)."""

    until: int


class NewId(NamedTuple):
    """From now on this is its bus ID."""

    id: int


class Restart(NamedTuple):
    """Take its power away and give it again once it has answered."""


Action = Changed | Refused | Did | Wake | Deaf | NewId | Restart

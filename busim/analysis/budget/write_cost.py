"""Writes that nobody makes by the plan, but somebody may: presets, restores, another operator's moves."""

from __future__ import annotations

from typing import Any

from busim.analysis.budget.case import Move
from busim.analysis.budget.poll_schedule import Pace
from busim.analysis.budget.timing import asked_of, timed
from busim.protocols import WRITE, Request


def written(pace: Pace, unit: int, size: int) -> Any:
    """The times of a write of so many values to a unit, as if it stood beside the asker; the same for all of a kind."""
    kind = pace.layout.alike[unit], size
    found = pace.writes.get(kind)
    if found is None:
        request = Request(pace.case.units[unit].id, WRITE, 0, size, (0,) * size)
        asked, answered, more = pace.case.protocol.lengths(request)
        move = Move(unit, str(size), 0.0, asked, answered, "", more)
        found = pace.writes[kind] = timed(pace.wire, asked_of(pace.case, move))
    return found

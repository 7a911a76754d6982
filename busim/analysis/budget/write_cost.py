"""Writes beyond the plan: presets, restores, another operator's moves."""

from __future__ import annotations

from busim.analysis.budget.case import Move
from busim.analysis.budget.poll_schedule import PollSchedule
from busim.analysis.budget.timing import Timing, asked_of, timed
from busim.protocols import WRITE, Request


def write_timing(schedule: PollSchedule, unit: int, size: int) -> Timing:
    """The times of a write of `size` values to a unit, as if it stood beside the asker."""
    case = schedule.case
    request = Request(case.units[unit].bus_id, WRITE, 0, size, (0,) * size)
    asked, answered, more = case.protocol.lengths(request)
    return timed(schedule.wire, asked_of(case, Move(unit, str(size), 0.0, asked, answered, "", more)))

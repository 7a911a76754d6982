"""Masters: programs that ask. One good one, as a pure object."""

from busim.simulator.masters.master import LONGEST_PAUSE, Master
from busim.simulator.masters.work import (
    COMMAND,
    DAMAGED,
    OK,
    POLL,
    PROBE,
    REFUSED,
    TIME_OUT,
    Attempt,
    Step,
    Target,
    Task,
)

__all__ = [
    "COMMAND",
    "DAMAGED",
    "LONGEST_PAUSE",
    "OK",
    "POLL",
    "PROBE",
    "REFUSED",
    "TIME_OUT",
    "Attempt",
    "Master",
    "Step",
    "Target",
    "Task",
]

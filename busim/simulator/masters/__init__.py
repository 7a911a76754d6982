"""Masters: programs that poll and command cameras. One good master, as a pure object."""

from busim.simulator.masters.master import Master
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

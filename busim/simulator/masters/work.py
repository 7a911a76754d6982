"""The work of a master: tasks, each one request to one camera, and the result of each attempt."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, NamedTuple

from busim.protocols import Request

POLL: Final = "poll"
COMMAND: Final = "command"
PROBE: Final = "probe"
OK: Final = "ok"
REFUSED: Final = "refused"
TIME_OUT: Final = "time-out"
DAMAGED: Final = "damaged"


@dataclass(slots=True, eq=False)
class Target:
    """A camera as its master knows it. `failures` in a row, the first of them at `failed_at` ns; `pause`: ns to the
    next probe; `probe`: a read for a camera without polls. With neither polls nor probe, only an answered command
    brings it back.
    """

    name: str
    address: int
    online: bool = True
    failures: int = 0
    failed_at: int = 0
    pause: int = 0
    parked: list[Task] = field(default_factory=list)
    probe: Task | None = None


@dataclass(slots=True, eq=False)
class Task:
    """One request to one camera. `every`: ns between polls (0: without a pause); `time_out` ns; `tries` at most.

    `relative`: a second execution doubles the effect (a step, a toggle), so it is never repeated.
    """

    target: Target
    kind: str
    work: str
    request: Request
    raw: bytes
    time_out: int
    every: int = 0
    tries: int = 1
    asked: int = 0
    attempt: int = 1
    relative: bool = False


class Attempt(NamedTuple):
    """One finished attempt. Times in ns as in the exchange record."""

    task: Task
    number: int
    asked: int
    sent: int
    ended: int
    free: int
    outcome: str
    values: tuple[int, ...]


# The wishes of a master: bytes to send now or None, and its wake-up (ns) or None. A plain tuple, since every event
# makes one.
Step = tuple[bytes | None, int | None]
NOTHING: Final[Step] = (None, None)

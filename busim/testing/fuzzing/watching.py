"""Observations of a controller's process: its end, its memory and CPU time, its last output."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

_TAIL = 4000  # bytes of standard error that are kept
_LINE = 300  # characters of its last line that are shown


@dataclass(frozen=True, slots=True)
class Watched:
    """`code`: exit code; `early`: ns at which it ended before the case did, None where it did not; `killed`: it did not
    end when asked. `clients`: connections; `requests`: bursts that came through them. `memory`: bytes at most and
    `cpu`: seconds of the processor, measured; `errors`: bytes on standard error, `words`: its last line.
    `skipped`: faults and moves that could not be made. `late`: ns by which busim's events came late at most. `share`:
    of one core that the world and the program took, measured.
    """

    code: int
    early: int | None
    killed: bool
    clients: int
    requests: int
    memory: int
    cpu: float
    errors: int
    words: str
    skipped: tuple[str, ...]
    late: int
    share: float


class Tail:
    """The end of a process's output, and its length."""

    def __init__(self) -> None:
        self.count = 0
        self._kept = b""

    def take(self, data: bytes) -> None:
        """Add output."""
        self.count += len(data)
        self._kept = (self._kept + data[-_TAIL:])[-_TAIL:]

    @property
    def last_line(self) -> str:
        """The last line that is not empty."""
        lines = [line.strip() for line in self._kept.decode("utf-8", "replace").splitlines() if line.strip()]
        return lines[-1][:_LINE] if lines else ""


def used(group: int) -> tuple[int, float, dict[int, int]]:
    """Resident bytes and seconds of CPU time of a process group (proc(5); zeros without /proc), and for each of its
    threads how long it has waited for a processor, ns (schedstat of Linux).
    """
    pages, ticks = 0, 0
    waited: dict[int, int] = {}
    try:
        entries = [entry for entry in os.listdir("/proc") if entry.isdigit()]
    except OSError:
        return 0, 0.0, waited
    for entry in entries:
        try:
            fields = Path(f"/proc/{entry}/stat").read_text(errors="replace").rpartition(")")[2].split()
            if int(fields[2]) != group:
                continue
            pages += int(fields[21])
            ticks += int(fields[11]) + int(fields[12])
            for thread in os.listdir(f"/proc/{entry}/task"):
                waited[int(thread)] = int(Path(f"/proc/{entry}/task/{thread}/schedstat").read_text().split()[1])
        except OSError:  # gone by now
            continue
    return pages * os.sysconf("SC_PAGE_SIZE"), ticks / os.sysconf("SC_CLK_TCK"), waited

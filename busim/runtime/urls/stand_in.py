"""A stand-in for the module `time`, in simulated time.

A library that sleeps between requests sleeps in wall time; the installation does not notice, and the program loses that
time. With this in place of its `time` (`library.time = clock`, in a test with monkeypatch), its waits are waits on the
line, and cost nothing.
"""

from __future__ import annotations

import time
from typing import Any

from busim.runtime.urls.drive import Drive


class Clock:
    """`time`, `monotonic`, `perf_counter` (each also in `_ns`) and `sleep` of one world; the rest is the module's.

    All begin at 0 with the run. `sleep` raises Defect if an event of the kernel fails.
    """

    def __init__(self, drive: Drive) -> None:
        self._drive = drive

    def monotonic_ns(self) -> int:
        return self._drive.now

    def monotonic(self) -> float:
        return self._drive.now / 1e9

    time_ns = perf_counter_ns = monotonic_ns
    time = perf_counter = monotonic

    def sleep(self, seconds: float) -> None:
        """Let this much simulated time pass."""
        if seconds < 0:
            raise ValueError("sleep length must be non-negative")
        self._drive.go(self._drive.now + round(seconds * 1e9))

    def __getattr__(self, name: str) -> Any:
        return getattr(time, name)

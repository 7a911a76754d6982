"""What a converter's port does in the order in which it was asked: characters, other settings, breaks.

Only a port that clients can set needs this (RFC 2217, a pseudo-terminal): characters that were sent before a change go
out before it. They are handed to the driver a few at a time, as to a UART with a small memory, so that what waits can
still be purged. What is sent during a break is lost, as it is behind a real driver.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

from busim.simulator.bus import Line, Setting, Station
from busim.simulator.kernel import Kernel

PORTION = 16  # characters that the driver holds, as a 16550's does

Change = Setting | bool  # another setting, or the break on or off


class DriverQueue:
    """`waiting`: characters not yet handed to the driver. `changed` is told of each change when it is done."""

    def __init__(self, kernel: Kernel, line: Line, station: Station, changed: Callable[[Change], None]) -> None:
        self.waiting = 0
        self.breaking = False
        self._kernel = kernel
        self._line = line
        self._station = station
        self._changed = changed
        self._queue: deque[bytes | Setting | bool] = deque()
        self._due = -1  # when it looks again

    def send(self, data: bytes) -> None:
        self._queue.append(data)
        self.waiting += len(data)
        self._go(None)

    def change(self, what: Change) -> None:
        self._queue.append(what)
        self._go(None)

    def purge(self) -> int:
        """Forget the characters that wait; how many there were. Changes stay."""
        lost, self.waiting = self.waiting, 0
        self._queue = deque(entry for entry in self._queue if not isinstance(entry, bytes))
        return lost

    def clear(self) -> None:
        """Forget everything that waits."""
        self._queue.clear()
        self.waiting = 0

    def _go(self, _: object) -> None:
        """Do what can be done now, and look again when the driver is ready for more."""
        now = self._kernel.now
        while self._queue:
            entry = self._queue[0]
            until = self._ready(entry)
            if until > now:
                if not now < self._due <= until:
                    self._due = until
                    self._kernel.at(until, self._go)
                return
            self._queue.popleft()
            if isinstance(entry, bytes):
                self._hand_over(entry)
            else:
                self._do(entry)

    def _ready(self, entry: bytes | Change) -> int:
        """From when on an entry can be done, ns."""
        burst = self._station.burst
        if burst is None or self.breaking:
            return 0
        if isinstance(entry, bytes):
            return burst.end - PORTION // 2 * burst.setting.char
        return max(burst.off, burst.end)

    def _hand_over(self, data: bytes) -> None:
        self.waiting -= min(len(data), PORTION) if not self.breaking else len(data)
        if self.breaking:
            return
        if len(data) > PORTION:
            self._queue.appendleft(data[PORTION:])
        self._line.send(self._station, data[:PORTION])

    def _do(self, change: Change) -> None:
        if isinstance(change, Setting):
            if self.breaking:
                self._line.end_break(self._station)
            self._line.reset(self._station, change)
            if self.breaking:
                self._line.begin_break(self._station)
        elif change == self.breaking:
            return
        elif change:
            self._line.begin_break(self._station)
            self.breaking = True
        else:
            self._line.end_break(self._station)
            self.breaking = False
        self._changed(change)

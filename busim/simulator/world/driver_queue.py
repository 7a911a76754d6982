"""The queue of a converter's port, in the order of arrival: characters, settings, breaks.

Only a port that clients can set needs it (RFC 2217, a pseudo-terminal): characters sent before a change leave before
it. The driver gets a few characters at a time, as a UART with a small memory does, so waiting ones can be purged.
Characters sent during a break are lost, as in a real driver.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Final

from busim.simulator.bus import Line, Setting, Station
from busim.simulator.kernel import Kernel

PORTION: Final = 16  # characters that the driver holds, as a 16550 does

Change = Setting | bool  # another setting, or the break on or off


class DriverQueue:
    """`waiting`: characters not yet handed to the driver. `changed` is called after each change."""

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
        """Drop the waiting characters. Returns their number. Changes stay."""
        lost, self.waiting = self.waiting, 0
        self._queue = deque(entry for entry in self._queue if not isinstance(entry, bytes))
        return lost

    def clear(self) -> None:
        """Drop everything that waits."""
        self._queue.clear()
        self.waiting = 0

    def _go(self, _: object) -> None:
        """Process the queue as far as possible now, and look again when the driver is ready."""
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
        """When an entry can be processed, ns."""
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

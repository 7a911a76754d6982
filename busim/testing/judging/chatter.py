"""Time in which bursts that nobody asked for leave a line no quiet: meanwhile a controller that listens waits."""

from __future__ import annotations

from typing import Final

_QUIET: Final = 50_000_000  # ns without a byte after which a line that chattered is quiet again (assumed)


class Chatter:
    """Adds it up for each line. `sums`: for how long each has been without quiet so far. Times in ns."""

    def __init__(self) -> None:
        self._over: dict[int, int] = {}  # line -> end of the last such burst
        self.sums: dict[int, int] = {}

    def unasked(self, line: int, start: int, end: int) -> int:
        """A camera has sent a burst that nobody asked for. Returns by how much longer the line was without quiet."""
        over = self._over.get(line, 0)
        since = over if start - over < _QUIET else start
        self._over[line] = max(over, end)
        longer = max(0, end - since)
        self.sums[line] = self.sums.get(line, 0) + longer
        return longer

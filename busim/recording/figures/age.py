"""The age of a value that is read again and again: now minus the instant at which it was read."""

from __future__ import annotations

from operator import truediv


class Age:
    """Age of a polled value: its mean over time by the area under it (Kaul, Yates, Gruteser, INFOCOM 2012; from
    memory).
    """

    __slots__ = ("_area", "_from", "_read", "_since", "count", "worst")

    def __init__(self) -> None:
        self.count = 0
        self.worst = 0
        self._area = 0
        self._from = 0  # the first delivery
        self._since = 0  # the last delivery
        self._read = 0

    def deliver(self, at: int, read: int) -> None:
        """A value read at `read` ns arrives at `at` ns."""
        if self.count:
            if read < self._read:
                return  # older than the present one
            old, new = self._since - self._read, at - self._read
            self._area += new * new - old * old
            if new > self.worst:
                self.worst = new
        else:
            self._from = at
        self.count += 1
        self._since, self._read = at, read

    def mean(self, until: int) -> float | None:
        """ns, from the first delivery to `until`; None without one."""
        if not self.count:
            return None
        until = max(until, self._since)  # a reply may arrive after its client has gone
        new, old = until - self._read, self._since - self._read
        span = until - self._from
        # Compiled, `/` would round integers of more than 53 bits before it divides.
        return truediv(self._area + new * new - old * old, 2 * span) if span > 0 else float(old)

    def longest(self, until: int) -> int | None:
        """The largest age up to `until`, ns; None without a delivery."""
        return max(self.worst, until - self._read) if self.count else None

"""What happened beside the bytes: changes of parameters and what was done on site, kept in memory in order of time.

These records are few where bursts are many, and any instant asks for those before it: which value a parameter has,
whether the pair is cut. Network chunks at converters are left out.
"""

from __future__ import annotations

import heapq
from bisect import bisect_right

from busim.recording.trace import CHANGE, INPUT, Record, Trace

_LEFT_OUT = ("bytes", "ready", "stall")


class Story:
    """The changes and inputs of one trace up to where it was read."""

    def __init__(self) -> None:
        self.records: list[Record] = []
        self._instants: list[int] = []
        self._read = 0  # ns up to which all was read, but for more of that instant itself

    def follow(self, trace: Trace) -> None:
        """Read what came since the last time. Raises UserError where the trace is damaged."""
        kept = len(self._instants)
        while kept and self._instants[kept - 1] >= self._read:
            kept -= 1
        del self.records[kept:], self._instants[kept:]
        both = (trace.records(kind, self._read, by_time=True) for kind in (INPUT, CHANGE))
        for record in heapq.merge(*both, key=lambda record: int(record[1])):
            self._read = record[1]
            if record[0] == CHANGE or record[4] not in _LEFT_OUT:
                self.records.append(record)
                self._instants.append(record[1])

    def until(self, at: int) -> list[Record]:
        """The records up to and including the instant `at` ns."""
        return self.records[: bisect_right(self._instants, at)]

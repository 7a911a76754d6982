"""The events besides bytes: changes of parameters and site work, kept in memory in order of time.

They are rare compared with bursts, and every instant needs the earlier ones: the value of a parameter, the state of the
pair. Network chunks at converters are left out.
"""

from __future__ import annotations

import heapq
from bisect import bisect_right

from busim.recording.trace import CHANGE, INPUT, Record, Trace

_LEFT_OUT = ("bytes", "ready", "stall")


class Story:
    """The changes and inputs of one trace so far."""

    def __init__(self) -> None:
        self.records: list[Record] = []
        self._instants: list[int] = []
        self._read = 0  # ns up to which everything was read, except more of that instant itself

    def follow(self, trace: Trace) -> None:
        """Read the records since the last call. Raises UserError if the trace is damaged."""
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

"""The events besides bytes: site work, faults, and the values of parameters, in order of time.

Site work and faults are rare, and every instant needs the earlier ones (is the pair open?): they are kept. Changes of
values may be many a second for hours, so only the values themselves are kept, once a minute; those in between are read
from the trace again. Network chunks at converters are left out.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right

from busim.recording.trace import CHANGE, INPUT, Record, Trace

_LEFT_OUT = ("bytes", "ready", "stall")
_PAGE = 60_000_000_000  # ns between two copies of all values

Values = dict[tuple[int, str], tuple[int, str]]  # number and name of what changed: its instant (ns), and the value


class Story:
    """What happened in one trace so far. Its methods raise UserError if the trace is damaged."""

    def __init__(self) -> None:
        self._records: list[Record] = []
        self._instants: list[int] = []
        self._pages: list[tuple[int, Values]] = [(0, {})]  # values before an instant
        self._values: Values = {}  # as of the last record
        self._read = 0  # ns up to which everything was read, except more of that instant itself

    def follow(self, trace: Trace) -> None:
        """Read the records since the last call."""
        kept = len(self._instants)
        while kept and self._instants[kept - 1] >= self._read:
            kept -= 1
        del self._records[kept:], self._instants[kept:]
        last = self._read
        fresh = []
        for record in trace.records(INPUT, self._read, by_time=True):
            last = record[1]
            if record[4] not in _LEFT_OUT:
                fresh.append(record)
        for record in trace.records(CHANGE, self._read, by_time=True):
            _, at, who, what, value = record
            last = max(last, at)
            if at - self._pages[-1][0] >= _PAGE:
                self._pages.append((at, dict(self._values)))
            self._values[who, what] = at, value
            if what.startswith("fault "):
                fresh.append(record)
        self._read = last
        fresh.sort(key=lambda record: int(record[1]))
        self._records += fresh
        self._instants += [record[1] for record in fresh]

    def until(self, at: int) -> list[Record]:
        """Site work and faults up to and including the instant `at` ns, as inputs and changes."""
        return self._records[: bisect_right(self._instants, at)]

    def between(self, kind: int, since: int, until: int) -> list[Record]:
        """Inputs, or changes by faults, at since <= t < until (ns)."""
        low, high = bisect_left(self._instants, since), bisect_left(self._instants, until)
        return [record for record in self._records[low:high] if record[0] == kind]

    def values(self, trace: Trace, at: int) -> Values:
        """All values that have changed up to and including the instant `at` ns."""
        since, values = self._pages[bisect_right(self._pages, at, key=lambda page: page[0]) - 1]
        values = dict(values)
        for _, changed, who, what, value in trace.records(CHANGE, since, at + 1, by_time=True):
            values[who, what] = changed, value
        return values

"""The sums of a line as arrays, so that hours are shown at once, and a live trace can be followed.

The trace keeps sums per 100 ms (table `summary`). Here those of each second are kept in memory, a fifth of a megabyte
an hour, and finer ones are read from the trace when a window wants them. During a run the last rows still grow, so
`follow` reads the last stretch again.
"""

from __future__ import annotations

from itertools import chain

import numpy as np
import numpy.typing as npt

from busim.recording.trace import Trace

STEP = 100_000_000  # ns of a row of the trace
_KEPT = 1_000_000_000  # ns of a row in memory, a multiple of that
_AGAIN = 60_000_000_000  # ns that are read again: longer than any exchange, whose time is shared out at its end
COLUMNS = ("bursts", "exchanges", "wire_ns", "inside_ns", "time_outs", "damaged")
_WIDTH = 2 + len(COLUMNS)  # of a row of the trace: the line and the start come first

Rows = npt.NDArray[np.int64]


class Sums:
    """The sums of one line; rows of `start` and the columns, ascending, empty stretches left out. What reads a trace
    raises UserError if it is damaged.
    """

    def __init__(self, line: int) -> None:
        self.line = line
        self.end = 0  # ns: the end of the last 100 ms with an event
        self._rows: Rows = _empty(0)  # per second

    def follow(self, trace: Trace) -> None:
        """Read the rows since the last call."""
        since = max(0, self.end - _AGAIN) // _KEPT * _KEPT
        fresh = self.between(trace, since, None)
        if not len(fresh):
            return
        self.end = int(fresh[-1, 0]) + STEP
        fresh[:, 0] -= fresh[:, 0] % _KEPT
        starts, first = np.unique(fresh[:, 0], return_index=True)
        added = np.column_stack((starts, np.add.reduceat(fresh[:, 1:], first)))
        self._rows = np.concatenate((self._rows[: int(np.searchsorted(self._rows[:, 0], since))], added))

    def between(self, trace: Trace, since: int, until: int | None) -> Rows:
        """The rows of the trace that begin in since <= start < until; until None: to the end of it."""
        flat = chain.from_iterable
        found = [
            np.fromiter(flat(rows), dtype=np.int64, count=_WIDTH * len(rows)).reshape(-1, _WIDTH)[:, 1:]
            for rows in trace.summary(self.line, since, until)
        ]
        return np.concatenate([_empty(0), *found])

    def count(self, trace: Trace, column: str, since: int, until: int) -> int:
        """The sum of a column over the rows that touch the window."""
        rows = self.between(trace, since // STEP * STEP, until)
        return int(rows[:, 1 + COLUMNS.index(column)].sum())

    def steps(self, trace: Trace, since: int, until: int, most: int) -> tuple[int, Rows]:
        """At most `most` steps that cover the window: ns of a step, and the start and sums of each, zeros too."""
        every = STEP
        for factor in _FACTORS:
            every = STEP * factor
            if (until - since) // every < most:
                break
        first = since // every
        number = max(1, -(-(until - first * every) // every))
        made = _empty(number)
        made[:, 0] = (first + np.arange(number)) * every
        if every < _KEPT:
            rows = self.between(trace, first * every, (first + number) * every)
        else:
            low, high = np.searchsorted(self._rows[:, 0], (first * every, (first + number) * every))
            rows = self._rows[int(low) : int(high)]
        np.add.at(made[:, 1:], rows[:, 0] // every - first, rows[:, 1:])
        return every, made

    def next_with(self, trace: Trace, column: str, at: int, *, back: bool = False) -> int | None:
        """The start of the nearest 100 ms at `at` or later (`back`: earlier) with some; None."""
        place = 1 + COLUMNS.index(column)
        seconds = self._rows[self._rows[:, place] > 0, 0]
        near = seconds[seconds < at][::-1] if back else seconds[seconds + _KEPT > at]
        for second in near.tolist():
            rows = self.between(trace, second, second + _KEPT)
            starts = rows[rows[:, place] > 0, 0]
            found = starts[starts < at] if back else starts[starts >= at]
            if len(found):
                return int(found[-1 if back else 0])
        return None


def _empty(count: int) -> Rows:
    return np.zeros((count, 1 + len(COLUMNS)), dtype=np.int64)


_FACTORS = [base * 10**power for power in range(8) for base in (1, 2, 5)]

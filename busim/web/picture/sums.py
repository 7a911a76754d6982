"""The 100 ms sums of a line as arrays, so that hours are shown at once, and a live trace can be followed.

The trace keeps sums per 100 ms (table `summary`); here they are added up to steps of any multiple of that. During a run
the last rows still grow, so `follow` reads the last stretch again.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from busim.recording.trace import Trace

STEP = 100_000_000  # ns of a row
_AGAIN = 60_000_000_000  # ns that are read again: longer than any exchange, whose time is shared out at its end
COLUMNS = ("bursts", "exchanges", "wire_ns", "inside_ns", "time_outs", "damaged")

Rows = npt.NDArray[np.int64]


class Sums:
    """The sums of one line; rows of `start` and the columns, ascending, empty stretches left out."""

    def __init__(self, line: int) -> None:
        self.line = line
        self._rows: Rows = np.zeros((0, 1 + len(COLUMNS)), dtype=np.int64)

    def follow(self, trace: Trace) -> None:
        """Read the rows since the last call. Raises UserError if the trace is damaged."""
        since = max(0, self.end - _AGAIN) // STEP * STEP
        fresh = [row[1:] for row in trace.summary(self.line, since)]
        kept = self._rows[: int(np.searchsorted(self._rows[:, 0], since))]
        if fresh:
            self._rows = np.concatenate((kept, np.array(fresh, dtype=np.int64)))

    @property
    def end(self) -> int:
        """ns: the end of the last 100 ms with an event."""
        return int(self._rows[-1, 0]) + STEP if len(self._rows) else 0

    def between(self, since: int, until: int) -> Rows:
        """The rows that begin in since <= start < until."""
        low, high = np.searchsorted(self._rows[:, 0], (since, until))
        return self._rows[int(low) : int(high)]

    def count(self, column: str, since: int, until: int) -> int:
        """The sum of a column over the rows that touch the window."""
        rows = self.between(since // STEP * STEP, until)
        return int(rows[:, 1 + COLUMNS.index(column)].sum())

    def steps(self, since: int, until: int, most: int) -> tuple[int, Rows]:
        """At most `most` steps that cover the window: ns of a step, and the start and sums of each, zeros too."""
        every = STEP
        for factor in _FACTORS:
            every = STEP * factor
            if (until - since) // every < most:
                break
        first = since // every
        number = max(1, -(-(until - first * every) // every))
        made = np.zeros((number, 1 + len(COLUMNS)), dtype=np.int64)
        made[:, 0] = (first + np.arange(number)) * every
        rows = self.between(first * every, (first + number) * every)
        np.add.at(made[:, 1:], rows[:, 0] // every - first, rows[:, 1:])
        return every, made

    def next_with(self, column: str, at: int, *, back: bool = False) -> int | None:
        """The start of the nearest row at `at` or later (`back`: earlier) with some; None."""
        rows = self._rows
        place = int(np.searchsorted(rows[:, 0], at))
        some: Any = rows[:, 1 + COLUMNS.index(column)] > 0
        found = np.flatnonzero(some[:place] if back else some[place:])
        if not len(found):
            return None
        return int(rows[found[-1], 0]) if back else int(rows[place + found[0], 0])


_FACTORS = [base * 10**power for power in range(8) for base in (1, 2, 5)]

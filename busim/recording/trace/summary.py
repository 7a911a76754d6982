"""The 100 ms sums of each line, so that hours of trace open at once.

They are made where rows are inserted, so the simulation pays nothing. The sums of a batch are added to the rows already
in the file, so only the recent busy stretches are kept between batches.
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict, deque
from collections.abc import Iterable

from busim.recording.trace.records import BURST, EXCHANGE, RAN_TOGETHER, TABLES, Record
from busim.recording.trace.schema import SUMMARY_NS

_RECENT = 32  # busy stretches kept per line: more than can overlap the next burst

# columns of a sum
_BURSTS, _EXCHANGES, _WIRE, _INSIDE, _TIME_OUTS, _DAMAGED = range(6)
_COLUMNS = ("bursts", "exchanges", "wire_ns", "inside_ns", "time_outs", "damaged")

_B_LINE, _B_START, _B_END = (TABLES[BURST][1].index(name) + 1 for name in ("line", "start", "end"))
_X_LINE, _X_SENT, _X_ENDED, _X_OUTCOME = (
    TABLES[EXCHANGE][1].index(name) + 1 for name in ("line", "sent", "ended", "outcome")
)

_ADD = (
    f"INSERT INTO summary (line, start, {', '.join(_COLUMNS)}) VALUES (?, ?, ?, ?, ?, ?, ?, ?) "
    f"ON CONFLICT (line, start) DO UPDATE SET {', '.join(f'{c} = {c} + excluded.{c}' for c in _COLUMNS)}"
)


class Summary:
    """Adds up bursts and exchanges; `store` adds the sums to the file."""

    def __init__(self) -> None:
        self._sums: defaultdict[tuple[int, int], list[int]] = defaultdict(lambda: [0] * len(_COLUMNS))
        # per line, ordered by their ends
        self._busy: defaultdict[int, deque[tuple[int, int]]] = defaultdict(lambda: deque([(0, 0)], maxlen=_RECENT))

    def add_bursts(self, bursts: list[Record]) -> None:
        for burst in bursts:
            line, start, end = burst[_B_LINE], burst[_B_START], burst[_B_END]
            bucket = start // SUMMARY_NS
            sums = self._sums[line, bucket]
            sums[_BURSTS] += 1
            busy = self._busy[line]
            last = busy[-1][1]
            if start < last:
                for low, high in _uncovered(start, end, busy):
                    self._spread(line, low, high, _WIRE)
            elif end // SUMMARY_NS == bucket:  # nearly every burst
                sums[_WIRE] += end - start
            else:
                self._spread(line, start, end, _WIRE)
            busy.append((start, end))
            if end < last:
                self._busy[line] = deque(sorted(busy, key=lambda stretch: stretch[1]), maxlen=_RECENT)

    def add_exchanges(self, exchanges: list[Record]) -> None:
        for exchange in exchanges:
            line, sent, ended, outcome = exchange[_X_LINE], exchange[_X_SENT], exchange[_X_ENDED], exchange[_X_OUTCOME]
            bucket = ended // SUMMARY_NS
            sums = self._sums[line, bucket]
            sums[_EXCHANGES] += 1
            if outcome in ("time-out", RAN_TOGETHER):
                sums[_TIME_OUTS] += 1
            elif outcome == "damaged":
                sums[_DAMAGED] += 1
            if sent // SUMMARY_NS == bucket:
                sums[_INSIDE] += ended - sent
            else:
                self._spread(line, sent, ended, _INSIDE)

    def store(self, database: sqlite3.Connection) -> None:
        """Add the sums so far to the summary table and forget them."""
        rows = ((line, bucket * SUMMARY_NS, *sums) for (line, bucket), sums in self._sums.items())
        database.executemany(_ADD, rows)
        self._sums.clear()

    def _spread(self, line: int, start: int, end: int, column: int) -> None:
        """Add a stretch of time to each 100 ms it touches."""
        while start < end:
            bucket = start // SUMMARY_NS
            until = min(end, (bucket + 1) * SUMMARY_NS)
            self._sums[line, bucket][column] += until - start
            start = until


def _uncovered(start: int, end: int, busy: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """The parts of start..end in none of the busy stretches."""
    parts = [(start, end)]
    for low, high in busy:
        parts = [piece for a, b in parts for piece in ((a, min(b, low)), (max(a, high), b)) if piece[0] < piece[1]]
    return parts

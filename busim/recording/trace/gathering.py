"""Records that nobody waits for, gathered and handed over many at once.

Many at once cost less: nothing else passes through the processor's cache meanwhile.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from busim.recording.trace.records import Record

_MOST: Final = 1024


class Gathering:
    """Keeps records and hands them to each of `takers`, in their order: after 1024, and when asked."""

    __slots__ = ("_records", "takers")

    def __init__(self, takers: list[Callable[[list[Record]], None]]) -> None:
        self._records: list[Record] = []
        self.takers = takers

    def take(self, record: Record) -> None:
        """Keep one record. Raises what a taker raises."""
        records = self._records
        records.append(record)
        if len(records) >= _MOST:
            self.hand_over()

    def hand_over(self) -> None:
        """Give the kept records to all takers. Raises what a taker raises; the records are gone then."""
        if self._records:
            records, self._records = self._records, []
            for take in self.takers:
                take(records)

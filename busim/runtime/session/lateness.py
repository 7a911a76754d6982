"""Lateness: how long after its instant the wall clock served an event.

In fast time every event is on time. A live run shares the machine with other programs, so its figures need the lateness
beside them.
"""

from __future__ import annotations

from typing import Any

from busim.recording.figures import Histogram


class Lateness(Histogram):
    """ns of wall time, one for each wake-up that had an event due."""

    __slots__ = ()

    def as_json(self) -> dict[str, Any]:
        """In seconds; values None if no event was due."""
        p50, p99 = self.quantile(0.5), self.quantile(0.99)
        return {
            "unit": "s",
            "kind": "measured",
            "count": self.count,
            "p50": None if p50 is None else p50 / 1e9,
            "p99": None if p99 is None else p99 / 1e9,
            "max": self.largest / 1e9 if self.count else None,
        }

"""The bursts on the pair now, and when the pair is free again."""

from __future__ import annotations


class Traffic:
    """`free_at`: when the last driver is off and the pair is quiet at every position, ns. `under_way`: bursts that have
    begun and are not yet delivered to every receiver; `begun_at`: when the last of them began, ns. `exact_bursts`:
    how many bursts so far took the exact path.
    """

    __slots__ = ("begun_at", "exact_bursts", "free_at", "under_way")

    def __init__(self) -> None:
        self.free_at = 0
        self.under_way = 0
        self.begun_at = 0
        self.exact_bursts = 0

"""A piece: bytes of a line that came at one instant, from one source."""

from __future__ import annotations

from typing import NamedTuple

TO_LINE, FROM_LINE, BOTH = 0, 1, 2  # to the cameras, from them, or not known


class Piece(NamedTuple):
    """Bytes that were complete at `at` ns, counted from the first piece of their capture. `way`: TO_LINE, FROM_LINE or
    BOTH; `source`: who sent them, as far as the capture says: an address of the network, a station. `since`: when their
    first one began, -1 if that is not known.
    """

    at: int
    way: int
    data: bytes
    source: str = ""
    since: int = -1

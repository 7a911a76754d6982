"""Captures: bytes of a line with their times, out of traces, pcapng, pcap and CSV, read as streams.

Public: `open_capture` (a file or standard input as a `Capture`), `Piece` and its ways `TO_LINE`, `FROM_LINE`, `BOTH`.

Open `pieces.py` first.
"""

from busim.onsite.captures.opening import Capture, open_capture
from busim.onsite.captures.pieces import BOTH, FROM_LINE, TO_LINE, Piece

__all__ = ["BOTH", "FROM_LINE", "TO_LINE", "Capture", "Piece", "open_capture"]

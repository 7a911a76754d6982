"""Replies that a camera sends without a pause between them, where no silence ends a frame.

A master of such a protocol has a reply with its last byte. It may act at once, while the rest of the burst is still on
the line. So each frame is judged by its own end, as a burst of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any, Final

from busim.testing.judging.ground import LineGround

_MOST: Final = 4096  # different bursts whose ends are remembered
_BAUD: Final = 9600.0  # any: the bytes come without a gap
_NEVER: Final = 1 << 62  # ns

Burst = tuple[Any, ...]


class JoinedReplies:
    """Cuts the bursts of the cameras on one line."""

    def __init__(self, line: LineGround) -> None:
        self._line = line
        self._ends: Callable[[bytes], tuple[int, ...]] = lru_cache(_MOST)(self._sound_ends)

    def cut(self, burst: Burst) -> tuple[Burst, ...]:
        """The burst record, as one record per sound frame; rubbish goes with the frame behind it."""
        kind, line, driver, start, end, fifth, data, exact = burst
        if driver not in self._line.cameras:
            return (burst,)
        ends = self._ends(data)
        if len(ends) < 2:
            return (burst,)
        found, begin, since = [], 0, start
        for behind in ends:
            over = start + (end - start) * behind // len(data)
            found.append((kind, line, driver, since, over, fifth, data[begin:behind], exact))
            begin, since = behind, over
        return tuple(found)

    def _sound_ends(self, data: bytes) -> tuple[int, ...]:
        """The number of bytes up to the end of each sound frame, and of the whole burst."""
        framer = self._line.protocol.wire_framer(_BAUD, 1, 0)
        frames = framer.feed(data, 1, len(data), 0) + framer.elapsed(_NEVER)
        ends, behind = [], 0
        for frame, _, flaw in frames:
            found = data.find(frame, behind)
            if found >= 0 and not flaw:
                behind = found + len(frame)
                ends.append(behind)
        return tuple(ends) if behind == len(data) else (*ends, len(data))

"""Cutters: the beginning and end of frames in bytes, by the bytes alone. Time is the framers' business.

`cut` returns frames as (begin, end, flaw) and the place from which bytes must be kept, since they may begin another.
With `eager` a half frame does not delay later ones: a sound frame after its beginning is taken. That is necessary if no
silence will ever show that the half frame was none.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from typing import Final, Protocol

Cuts = list[tuple[int, int, str]]

JUNK: Final = "junk"
LONG: Final = "length"


class Cutter(Protocol):
    """Cuts frames from bytes."""

    def single(self, data: bytes) -> bool:
        """Whether these bytes are exactly one frame, as they mostly are."""

    def cut(self, data: bytes, *, eager: bool) -> tuple[Cuts, int]: ...


class MarkCutter:
    """Cuts by an end mark, and a start mark if there is one, which no content holds."""

    def __init__(self, start: bytes, end: bytes, longest: int) -> None:
        self._start = start
        self._end = end
        self._longest = longest
        self._shared = start == end

    def single(self, data: bytes) -> bool:
        start, end = self._start, self._end
        if not data.startswith(start) or data.find(end, len(start)) != len(data) - len(end):
            return False
        if not len(start) < len(data) - len(end) < self._longest:
            return False
        return not start or self._shared or data.find(start, 1) < 0

    def cut(self, data: bytes, *, eager: bool) -> tuple[Cuts, int]:
        start, end = self._start, self._end
        cuts: Cuts = []
        at, size = 0, len(data)
        while at < size:
            if self._shared:
                begin = at
                while data.startswith(end, at):  # of marks in a row the last one begins the frame
                    begin, at = at, at + len(end)
                if at >= size:  # the start mark may be missing: it ended the frame before
                    return cuts, size
            else:
                begin = data.find(start, at) if start else at
                if begin < 0:
                    begin = size - _overlap(data, start, at)
                if begin > at:
                    cuts.append((at, begin, JUNK))
                if begin >= size or size - begin < len(start):
                    return cuts, begin
                at = begin + len(start)
            stop = data.find(end, at)
            if stop < 0:
                return self._unfinished(cuts, data, begin)
            if start and not self._shared and (later := data.rfind(start, at, stop)) >= 0:
                cuts.append((begin, later, JUNK))
                begin = later
            at = stop + len(end)
            cuts.append((begin, at, LONG if at - begin > self._longest else ""))
        return cuts, size

    def _unfinished(self, cuts: Cuts, data: bytes, begin: int) -> tuple[Cuts, int]:
        start = self._start
        if start and not self._shared and (later := data.rfind(start, begin + len(start))) >= 0:
            cuts.append((begin, later, JUNK))
            begin = later
        if len(data) - begin > self._longest:
            cuts.append((begin, len(data), LONG))
            begin = len(data)
        return cuts, begin


def _overlap(data: bytes, mark: bytes, at: int) -> int:
    """Bytes at the end of `data` that may be the beginning of a mark."""
    for count in range(min(len(mark) - 1, len(data) - at), 0, -1):
        if data.endswith(mark[:count]):
            return count
    return 0


class SizeCutter:
    """Cuts by a size that is known, or stated in the frame; the check finds the beginning of a frame.

    `head`: bytes at the start of every frame, or none. `size_of(data, at)`: size of the frame that begins there, 0 if
    more bytes are needed, -1 if none can begin there. `sound`: whether bytes of that size are a frame.
    """

    def __init__(
        self, head: bytes, size_of: Callable[[bytes, int], int], sound: Callable[[bytes], bool], longest: int
    ) -> None:
        self._head = head
        self._size_of = size_of
        self._sound = sound
        self._longest = longest

    def single(self, data: bytes) -> bool:
        return data.startswith(self._head) and self._size_of(data, 0) == len(data) and self._sound(data)

    def cut(self, data: bytes, *, eager: bool) -> tuple[Cuts, int]:
        cuts: Cuts = []
        at = done = 0
        size = len(data)
        kept = -1
        while at < size:
            begin = data.find(self._head, at)
            if begin < 0:
                at = size - _overlap(data, self._head, at)
                break
            length = self._size_of(data, begin)
            if length == 0 or (length > 0 and begin + length > size):
                if not eager:
                    at = begin
                    break
                kept = begin if kept < 0 else kept
                at = begin + 1
            elif length > 0 and self._sound(data[begin : begin + length]):
                if begin > done:
                    cuts.append((done, begin, JUNK))
                at = done = begin + length
                cuts.append((begin, done, ""))
                kept = -1
            else:
                at = begin + 1
        keep = max(min(at, size) if kept < 0 else kept, size - self._longest, done)
        if keep > done:
            cuts.append((done, keep, JUNK))
        return cuts, keep


class TrialCutter:
    """Cuts frames that silence ends, without times: it tries every size of a frame at every place.

    It takes the longest sound one, so a frame in one piece is never read as a shorter one that it begins with. Two in
    one piece may still be misread if nothing in a frame states its length; only the silence between them tells.
    """

    def __init__(self, sizes: Collection[int], sound: Callable[[bytes], bool], longest: int) -> None:
        self._sizes = sorted(sizes, reverse=True)
        self._sound = sound
        self._longest = longest

    def single(self, data: bytes) -> bool:
        return len(data) in self._sizes and self._sound(data)

    def cut(self, data: bytes, *, eager: bool) -> tuple[Cuts, int]:
        cuts: Cuts = []
        at = done = 0
        while at < len(data):
            rest = len(data) - at
            size = next((size for size in self._sizes if size <= rest and self._sound(data[at : at + size])), 0)
            if size:
                if at > done:
                    cuts.append((done, at, JUNK))
                cuts.append((at, at + size, ""))
                at = done = at + size
            else:
                at += 1
        return cuts, max(done, len(data) - self._longest)

"""A framer that cuts by silence: a frame is a stretch between two silences of a wire."""

from __future__ import annotations

from typing import Final

from mypy_extensions import mypyc_attr

from busim.protocols.contract import Frames

_NONE: Final[Frames] = ()


@mypyc_attr(allow_interpreted_subclasses=True)
class SilenceFramer:
    """Cuts a frame after `after` ns of quiet; a gap of more than `between` ns inside one spoils it.

    Silence counts from the end of the last stop bit to the next start edge. The instants of characters are those of
    complete bytes (middle of the first stop bit), hence `char` (ns of a character) and `tail` (ns of it after that
    instant). More than `longest` bytes are one spoiled frame.
    """

    __slots__ = ("_after", "_between", "_end", "_flaw", "_head", "_held", "_longest", "_tail", "quiet_until")

    def __init__(self, char: int, tail: int, between: int, after: int, longest: int) -> None:
        self._head = char - tail
        self._tail = tail
        self._between = between
        self._after = after
        self._longest = longest
        self._held = b""
        self._flaw = ""
        self._end = 0
        self.quiet_until: int | None = None

    def feed(self, data: bytes, first: int, last: int, flags: int) -> Frames:
        frames = _NONE
        if self.quiet_until is None:
            self._held = data
            self._flaw = ""
        else:
            gap = first - self._head - self._end
            if gap >= self._after:
                frames = ((self._held, self.quiet_until, self._flaw),)
                self._held = data
                self._flaw = ""
            else:
                if gap > self._between and not self._flaw:
                    self._flaw = "gap"
                self._held += data
        if flags:
            self._flaw = self._flaw or "flagged"
        if len(self._held) > self._longest:
            self._held = self._held[: self._longest + 1]
            self._flaw = self._flaw or "length"
        self._end = end = last + self._tail
        self.quiet_until = end + self._after
        return frames

    def elapsed(self, at: int) -> Frames:
        due = self.quiet_until
        if due is None or at < due:
            return _NONE
        self.quiet_until = None
        return ((self._held, due, self._flaw),)

    def fork(self, later: int) -> SilenceFramer:
        other = SilenceFramer(self._head + self._tail, self._tail, self._between, self._after, self._longest)
        if self.quiet_until is not None:
            other._held, other._flaw, other._end = self._held, self._flaw, self._end + later
            other.quiet_until = self.quiet_until + later
        return other

    def clear(self) -> None:
        self.quiet_until = None

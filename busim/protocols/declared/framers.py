"""Framers of declared protocols: a wire framer around a cutter, and the finder of replies in a stream."""

from __future__ import annotations

from functools import lru_cache
from typing import Final, Protocol

from mypy_extensions import mypyc_attr

from busim.protocols.contract import DECODED, Frame, Frames, Reply, Request
from busim.protocols.declared.cutting import Cutter

_NONE: Final[Frames] = ()


@mypyc_attr(allow_interpreted_subclasses=True)
class CuttingFramer:
    """Cuts by the bytes alone; a half frame is forgotten after `forget` ns of quiet.

    A frame is complete with its last byte. `char` and `tail` as for SilenceFramer.
    """

    __slots__ = ("_cutter", "_end", "_flagged", "_forget", "_head", "_held", "_tail", "quiet_until")

    def __init__(self, cutter: Cutter, char: int, tail: int, forget: int) -> None:
        self._cutter = cutter
        self._head = char - tail
        self._tail = tail
        self._forget = forget
        self._held = b""
        self._flagged: tuple[int, int] | None = (
            None  # from the first to the end of the last byte held that was not sound
        )
        self._end = 0
        self.quiet_until: int | None = None

    def feed(self, data: bytes, first: int, last: int, flags: int) -> Frames:
        if self.quiet_until is None and not flags and self._cutter.single(data):
            return ((data, last, ""),)
        frames = _NONE
        if self.quiet_until is not None and first - self._head - self._end >= self._forget:
            frames = self._forgotten(self.quiet_until)
        old = len(self._held)
        held = self._held + data if old else data
        if flags:
            self._flagged = (old if self._flagged is None else self._flagged[0], len(held))
        cuts, keep = self._cutter.cut(held, eager=False)
        if cuts:
            step = max(len(data) - 1, 1)
            cut: list[Frame] = []
            for begin, end, flaw in cuts:
                at = last
                if end < len(held):  # inside these bytes: to the nearest ns between the first and last character
                    at = first + ((last - first) * 2 * max(end - 1 - old, 0) + step) // (2 * step)
                cut.append((held[begin:end], at, flaw or self._flaw(begin, end)))
            frames = (*frames, *cut)
        self._keep(held[keep:], keep)
        self._end = last + self._tail
        self.quiet_until = self._end + self._forget if self._held else None
        return frames

    def _flaw(self, begin: int, end: int) -> str:
        flagged = self._flagged
        return "flagged" if flagged is not None and flagged[0] < end and flagged[1] > begin else ""

    def _keep(self, held: bytes, dropped: int) -> None:
        self._held = held
        if self._flagged is not None:
            first, behind = self._flagged
            self._flagged = (max(first - dropped, 0), behind - dropped) if behind > dropped else None

    def _forgotten(self, at: int) -> Frames:
        """The frames in the held bytes, now that no more will come."""
        held = self._held
        cuts, keep = self._cutter.cut(held, eager=True)
        frames = tuple((held[begin:end], at, flaw or self._flaw(begin, end)) for begin, end, flaw in cuts)
        if keep < len(held):
            frames = (*frames, (held[keep:], at, "half"))
        self.clear()
        return frames

    def elapsed(self, at: int) -> Frames:
        due = self.quiet_until
        if due is None or at < due:
            return _NONE
        return self._forgotten(due)

    def fork(self, later: int) -> CuttingFramer:
        other = CuttingFramer(self._cutter, self._head + self._tail, self._tail, self._forget)
        other._held, other._flagged, other._end = self._held, self._flagged, self._end + later
        other.quiet_until = None if self.quiet_until is None else self.quiet_until + later
        return other

    def clear(self) -> None:
        self._held, self._flagged, self.quiet_until = b"", None, None


class Codec(Protocol):
    """The part of a declared protocol that finds a reply. `tags`: the number of transaction tags, 0: none."""

    tags: int

    def tagged(self, request: Request, tag: int) -> Request:
        """The request with another transaction tag."""

    def encode_request(self, request: Request) -> bytes: ...

    def decode_reply(self, data: bytes, request: Request) -> Reply | None: ...

    def reply_cutter(self, request: Request) -> Cutter:
        """The cutter of the stream with the reply to `request`."""


@mypyc_attr(allow_interpreted_subclasses=True)
class ReplyFinder:
    """Finds the reply to one request: at once if the bytes are exactly that, else frame by frame, whatever comes before
    it.
    """

    __slots__ = ("_buffer", "_came", "_cutter", "_decode", "_number", "_protocol", "_request")

    def __init__(self, protocol: Codec) -> None:
        self._protocol = protocol
        self._decode = lru_cache(DECODED)(protocol.decode_reply)  # mostly the same bytes answer the same request
        self._buffer = b""
        self._request: Request | None = None
        self._cutter: Cutter | None = None
        self._number = 0
        self._came = 0

    def ask(self, request: Request, raw: bytes) -> bytes:
        if self._protocol.tags:
            self._number = (self._number + 1) % self._protocol.tags
            request = self._protocol.tagged(request, self._number)
            raw = self._protocol.encode_request(request)
        self.expect(request)
        return raw

    def expect(self, request: Request) -> None:
        self._request = request
        self._buffer = b""
        self._cutter = None
        self._came = 0

    def feed(self, data: bytes, at: int) -> Reply | None:
        request = self._request
        if request is None:
            return None
        buffer = self._buffer = self._buffer + data if self._buffer else data
        self._came += len(data)
        reply = self._decode(buffer, request)
        if reply is not None:
            return reply
        if self._cutter is None:
            self._cutter = self._protocol.reply_cutter(request)
        cuts, keep = self._cutter.cut(buffer, eager=True)
        for begin, end, flaw in cuts:
            if not flaw and (reply := self._protocol.decode_reply(buffer[begin:end], request)) is not None:
                return reply
        self._buffer = buffer[keep:]
        return None

    @property
    def held(self) -> int:
        return self._came

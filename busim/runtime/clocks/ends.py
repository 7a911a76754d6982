"""Connections in memory: two ends, each an asyncio transport with the behaviour of TCP.

A controller must meet here what it meets on a socket: a window that fills up, a write buffer with its marks, end of
file, and a reset if bytes stayed unread. Carrying bytes takes no time; delays of a network belong in the plan
(`latency`).

A `direct` end is a converter's door: bytes written to it arrive at once, as one chunk, since it only passes them to the
kernel. Any other end gets its turn of the loop, and is never called from within a write of its peer.
"""

from __future__ import annotations

import asyncio
import errno
from collections.abc import Callable, Iterable
from typing import Any

_WINDOW = 65536  # bytes under way that neither program holds: the buffers of two systems
_HIGH = 65536  # asyncio's default marks of a write buffer


class Handle:
    """The answer of `get_extra_info("socket")`: addresses, and options without effect."""

    def __init__(self, own: tuple[str, int], peer: tuple[str, int] | None = None) -> None:
        self._own = own
        self._peer = peer

    def getsockname(self) -> tuple[str, int]:
        return self._own

    def getpeername(self) -> tuple[str, int]:
        if self._peer is None:
            raise OSError(errno.ENOTCONN, "not connected")
        return self._peer

    def setsockopt(self, *_: Any) -> None:
        """Nothing to set: there is no system in between."""

    def getsockopt(self, *_: Any) -> int:
        return 0

    def fileno(self) -> int:
        return -1


class GuardedEnd(asyncio.BaseTransport):
    """An end whose protocol may fail. `_over(error)`: the end is gone."""

    _loop: asyncio.AbstractEventLoop
    _protocol: Any  # the kind depends on the end

    def _over(self, error: Exception | None) -> None:
        raise NotImplementedError

    def _guarded(self, what: Callable[..., Any], *arguments: Any) -> None:
        try:
            what(*arguments)
        except (SystemExit, KeyboardInterrupt):
            raise
        except BaseException as error:
            self._blame(error)

    def _blame(self, error: BaseException) -> None:
        """As in asyncio: the loop's exception handler is called, and the end is gone."""
        self._loop.call_exception_handler(
            {"message": "a protocol failed", "exception": error, "transport": self, "protocol": self._protocol}
        )
        self._over(error if isinstance(error, Exception) else None)


class End(GuardedEnd, asyncio.Transport):
    """One end. `gone(end)` is called after its protocol learned that the connection is lost."""

    _peer: End

    def __init__(
        self, loop: asyncio.AbstractEventLoop, protocol: asyncio.BaseProtocol, own: tuple[str, int],
        peer: tuple[str, int], *, direct: bool = False, gone: Callable[[End], None] = lambda _: None,
    ) -> None:  # fmt: skip
        super().__init__({"sockname": own, "peername": peer, "socket": Handle(own, peer)})
        self._loop = loop
        self._direct = direct
        self._tell_gone = gone
        self._unsent = bytearray()
        self._arrived: bytes | bytearray = b""  # one chunk as it came; several are joined
        self._high, self._low = _HIGH, _HIGH // 4
        self._started = self._paused = self._closing = self._losing = self._lost = False
        self._full = self._said_eof = self._eof_came = self._eof_told = self._feeding = False
        self.set_protocol(protocol)

    def join(self, peer: End) -> None:
        self._peer, peer._peer = peer, self

    def begin(self) -> None:
        """Tell the protocol of the connection, then admit bytes."""
        self._guarded(self._protocol.connection_made, self)
        self._started = True
        self._look()

    # -- who is behind it -----------------------------------------------------------------------------------

    def set_protocol(self, protocol: asyncio.BaseProtocol) -> None:
        self._protocol = protocol
        self._buffered = isinstance(protocol, asyncio.BufferedProtocol)

    def get_protocol(self) -> asyncio.BaseProtocol:
        return self._protocol  # type: ignore[no-any-return]

    # -- writing --------------------------------------------------------------------------------------------

    def write(self, data: bytes | bytearray | memoryview) -> None:
        if not isinstance(data, (bytes, bytearray, memoryview)):
            raise TypeError(f"data: expecting a bytes-like instance, got {type(data).__name__}")
        if self._said_eof:
            raise RuntimeError("Cannot call write() after write_eof()")
        if not data or self._closing or self._losing:
            return
        if self._peer._lost:  # a real peer answers with a reset
            self._fail(ConnectionResetError(errno.ECONNRESET, "Connection reset by peer"))
            return
        peer = self._peer
        if not self._unsent and len(peer._arrived) + len(data) <= _WINDOW:  # the usual case
            peer._take(data)
            if peer._direct and not peer._feeding:
                peer._feed()
            elif not peer._feeding and peer._started:
                peer._feeding = True
                self._loop.call_soon(peer._feed)
            return
        self._unsent += data
        self._push()
        if not self._full and len(self._unsent) > self._high:
            self._full = True
            self._guarded(self._protocol.pause_writing)

    def writelines(self, list_of_data: Iterable[bytes | bytearray | memoryview]) -> None:
        self.write(b"".join(list_of_data))

    def can_write_eof(self) -> bool:
        return True

    def write_eof(self) -> None:
        if not self._said_eof and not self._closing:
            self._said_eof = True
            if not self._unsent:
                self._peer._hear_eof()

    def set_write_buffer_limits(self, high: int | None = None, low: int | None = None) -> None:
        if high is None:
            high = _HIGH if low is None else 4 * low
        if low is None:
            low = high // 4
        if not high >= low >= 0:
            raise ValueError(f"high ({high!r}) must be >= low ({low!r}) must be >= 0")
        self._high, self._low = high, low

    def get_write_buffer_limits(self) -> tuple[int, int]:
        return self._low, self._high

    def get_write_buffer_size(self) -> int:
        return len(self._unsent)

    def _push(self) -> None:
        """Send as much as the window takes."""
        peer, unsent = self._peer, self._unsent
        room = _WINDOW - len(peer._arrived)
        if room > 0 and unsent:
            peer._take(unsent[:room])
            del unsent[:room]
            peer._look()

    def _refill(self) -> None:
        """The peer has read: the window is open again."""
        if not self._unsent or self._losing:
            return
        self._push()
        if self._full and len(self._unsent) <= self._low:
            self._full = False
            self._loop.call_soon(self._guarded, self._protocol.resume_writing)
        if not self._unsent:
            if self._closing:
                self._over(None)
            elif self._said_eof:
                self._peer._hear_eof()

    # -- reading --------------------------------------------------------------------------------------------

    def _take(self, data: bytes | bytearray | memoryview) -> None:
        if not self._arrived:
            self._arrived = bytes(data)
        elif isinstance(self._arrived, bytearray):
            self._arrived += data
        else:
            self._arrived = bytearray(self._arrived) + data

    def is_reading(self) -> bool:
        return not self._paused and not self._closing

    def pause_reading(self) -> None:
        self._paused = True

    def resume_reading(self) -> None:
        if self._paused:
            self._paused = False
            self._feeding_soon()

    def _hear_eof(self) -> None:
        self._eof_came = True
        self._look()

    def _look(self) -> None:
        """Bytes may have come."""
        if self._direct and not self._feeding:
            self._feed()
        else:
            self._feeding_soon()

    def _feeding_soon(self) -> None:
        if not self._feeding and self._started:
            self._feeding = True
            self._loop.call_soon(self._feed)

    def _feed(self) -> None:
        """Hand over received bytes, as far as the protocol takes them."""
        self._feeding = True  # the protocol may now cause more
        peer = self._peer
        try:
            while self._started and not (self._paused or self._closing):
                if self._arrived:
                    self._hand_over()
                    if peer._unsent:
                        peer._refill()
                    continue
                if self._eof_came and not self._eof_told:
                    self._eof_told = True
                    if not self._protocol.eof_received():
                        self.close()
                return
        except (SystemExit, KeyboardInterrupt):
            raise
        except BaseException as error:
            self._blame(error)
        finally:
            self._feeding = False

    def _hand_over(self) -> None:
        arrived = self._arrived
        if self._buffered:
            buffer = self._protocol.get_buffer(-1)
            count = min(len(buffer), len(arrived))
            buffer[:count] = arrived[:count]
            self._arrived = arrived[count:]
            self._protocol.buffer_updated(count)
        else:
            self._arrived = b""
            self._protocol.data_received(bytes(arrived))  # never more than the window; no copy of a single chunk

    # -- ending ---------------------------------------------------------------------------------------------

    def is_closing(self) -> bool:
        return self._closing or self._losing

    def close(self) -> None:
        """Send the rest, then close."""
        if not self._closing:
            self._closing = True
            if not self._unsent:
                self._over(None)

    def abort(self) -> None:
        """Close at once; unsent bytes are lost."""
        self._over(None)

    def drop(self) -> None:
        """The loop ends: tell the protocol now, and the peer nothing."""
        self._closing = self._losing = True
        self._lose(None)

    def _fail(self, error: Exception) -> None:
        self._over(error)

    def _over(self, error: Exception | None) -> None:
        self._closing = True
        if not self._losing:
            self._losing = True
            self._unsent.clear()
            self._loop.call_soon(self._lose, error)

    def _lose(self, error: Exception | None) -> None:
        if self._lost:
            return
        self._lost = True
        self._guarded(self._protocol.connection_lost, error)
        self._tell_gone(self)
        peer = self._peer
        if not peer._losing and not self._loop.is_closed():
            if self._arrived:  # closing on unread bytes resets a TCP connection
                peer._fail(ConnectionResetError(errno.ECONNRESET, "Connection reset by peer"))
            elif not self._said_eof:
                peer._hear_eof()
                peer._refill()

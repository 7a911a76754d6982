"""Serial ends of a tap: a pseudo-terminal in place of the controller's port, and a real port in place of the box.

Both look like a transport of asyncio, so the tap forwards between sockets and ports alike. A serial line has no
connections: the pseudo-terminal is one controller for the whole session, and a port that vanishes ends it.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

from busim.foundation.errors import UserError

_READ = 1 << 16
_MOST = 1 << 16  # bytes that wait for a port before the other side is no longer read


class SerialEnd(NamedTuple):
    """A port of this machine as plain values, since it goes to the process that forwards."""

    path: str
    baud: int
    format: str
    direction: str


class PortTransport(asyncio.Transport):
    """Bytes of an open descriptor to `protocol`, and back. `closed` is called once, when it is over."""

    def __init__(self, descriptor: int, protocol: asyncio.Protocol, closed: Callable[[], None]) -> None:
        super().__init__()
        self._loop = asyncio.get_running_loop()
        self._descriptor = descriptor
        self._protocol = protocol
        self._closed = closed
        self._waiting = bytearray()
        self._over = self._held = self._reading = False
        os.set_blocking(descriptor, False)
        protocol.connection_made(self)
        self.resume_reading()

    def write(self, data: bytes | bytearray | memoryview) -> None:
        if self._over:
            return
        was = len(self._waiting)
        self._waiting += data
        if not was:
            self._flush()
        if len(self._waiting) > _MOST and not self._held:
            self._held = True
            self._protocol.pause_writing()

    def can_write_eof(self) -> bool:
        return False

    def write_eof(self) -> None:
        """A port has no end of its own: the controller has gone, the line stays."""

    def pause_reading(self) -> None:
        if self._reading:
            self._reading = False
            self._loop.remove_reader(self._descriptor)

    def resume_reading(self) -> None:
        if not self._reading and not self._over:
            self._reading = True
            self._loop.add_reader(self._descriptor, self._read)

    def is_closing(self) -> bool:
        return self._over

    def close(self) -> None:
        self._end(None)

    def abort(self) -> None:
        self._end(None)

    def _read(self) -> None:
        try:
            data = os.read(self._descriptor, _READ)
        except BlockingIOError:
            return
        except OSError as error:
            self._end(error)
            return
        if data:
            self._protocol.data_received(data)
        else:  # readable without bytes: the adapter was unplugged
            self._end(OSError("the port is gone"))

    def _flush(self) -> None:
        try:
            while self._waiting:
                del self._waiting[: os.write(self._descriptor, self._waiting)]
        except BlockingIOError:
            self._loop.add_writer(self._descriptor, self._flush)
            return
        except OSError as error:
            self._end(error)
            return
        self._loop.remove_writer(self._descriptor)
        if self._held:
            self._held = False
            self._protocol.resume_writing()

    def _end(self, error: OSError | None) -> None:
        if self._over:
            return
        self._over = True
        self.pause_reading()
        self._loop.remove_writer(self._descriptor)
        self._closed()
        self._loop.call_soon(self._protocol.connection_lost, error)


def open_port(end: SerialEnd, protocol: asyncio.Protocol) -> PortTransport:
    """A real port as a transport. Raises OSError, with the reason in words."""
    from busim.foundation.units import CharFormat  # here: between sockets the process that forwards starts without them
    from busim.onsite.targets import open_target, parse_target

    try:
        link = open_target(
            parse_target(end.path), Fraction(end.baud), CharFormat.parse(end.format), direction=end.direction
        )
    except UserError as error:
        raise OSError(str(error)) from error
    descriptor = link.descriptor
    if descriptor is None:
        link.close()
        raise OSError("this port has no descriptor to wait for")
    return PortTransport(descriptor, protocol, link.close)


def open_terminal(path: str, protocol: asyncio.Protocol) -> PortTransport:
    """A new pseudo-terminal, linked at `path`, as a transport. Raises OSError, also if something is there already."""
    try:
        import pty
        import tty
    except ImportError:
        raise OSError("this system has no pseudo-terminals") from None
    ours, theirs = pty.openpty()  # `theirs` stays open, so that a program may come and go
    tty.setraw(theirs)
    link, name = Path(path), os.ttyname(theirs)
    try:
        if link.is_symlink() and not link.exists():  # left by a tap that was killed
            link.unlink()
        link.symlink_to(name)
    except OSError:
        os.close(ours)
        os.close(theirs)
        raise

    def closed() -> None:
        with contextlib.suppress(OSError):
            if os.readlink(link) == name:
                link.unlink()
        os.close(ours)
        os.close(theirs)

    return PortTransport(ours, protocol, closed)

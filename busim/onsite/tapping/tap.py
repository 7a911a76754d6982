"""The tap: forwards the bytes between a controller and a converter, both ways at once, and tells what passes.

Each connection of a controller gets a connection of its own to the converter, so the converter decides as it would
without the tap: it refuses the second, or drops the first. Ends and resets pass too. Bytes are written on before
anything looks at them. A side that does not read stops the other from being read, so the tap holds little.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
import struct
import time
from collections import deque
from collections.abc import Callable
from typing import Protocol

from busim.onsite.tapping.faults import ReplyFaults
from busim.onsite.tapping.serial_ends import SerialEnd, open_port, open_terminal

_AT_ONCE = struct.pack("ii", 1, 0)  # linger for no time: the other end sees a reset
_PATIENCE = 5.0  # seconds for a connection to the converter


class Ear(Protocol):
    """Is told what passes, with the ns since the tap began; it must return soon."""

    def client(self, at: int, number: int, what: str) -> None:
        """A controller came (`open`) or went (`close`, `reset`)."""

    def sent(self, data: bytes, at: int) -> None:
        """Bytes went to the line."""

    def heard(self, data: bytes, at: int) -> None:
        """Bytes came from the line."""

    def effect(self, at: int, fault: str) -> None:
        """A fault of the tap's own hit them."""


class Tap:
    """An async context manager: listens at `listen`, forwards to `target`, each (host, port). `listen` may be the path
    of a pseudo-terminal to make, `target` a port of this machine.

    `news` gets a few words about connections. `faults`: of replies; none is on at the beginning. `address` (once
    entered) is where it listens. `origin`: the instant 0 of its times on the monotonic clock, ns; None for now.
    """

    address: tuple[str, int]

    def __init__(
        self, listen: tuple[str, int] | str, target: tuple[str, int] | SerialEnd, ear: Ear,
        news: Callable[[str], None] = lambda _: None, *, origin: int | None = None,
    ) -> None:  # fmt: skip
        self.target = target
        self.ear = ear
        self.news = news
        self.faults = ReplyFaults()
        self._listen = listen
        self._origin = time.monotonic_ns() if origin is None else origin
        self._clients = 0
        self._pairs: set[_Controller] = set()
        self._server: asyncio.Server | None = None

    @property
    def now(self) -> int:
        """ns since the tap began."""
        return time.monotonic_ns() - self._origin

    async def __aenter__(self) -> Tap:
        """Raises OSError if the address cannot be bound."""
        if isinstance(self._listen, str):
            self._terminal = open_terminal(self._listen, _Controller(self))
            self.address = self._listen, 0
            return self
        loop = asyncio.get_running_loop()
        self._server = await loop.create_server(lambda: _Controller(self), *self._listen)
        self.address = self._server.sockets[0].getsockname()[:2]
        return self

    async def __aexit__(self, *_: object) -> None:
        if self._server is not None:
            self._server.close()
        for pair in tuple(self._pairs):
            pair.end()
        await asyncio.sleep(0)

    def drop(self) -> None:
        """End all connections, as a box does that reboots."""
        for pair in tuple(self._pairs):
            pair.leave(True)

    def came(self, pair: _Controller) -> int:
        """A controller has connected. Returns its number."""
        self._clients += 1
        self._pairs.add(pair)
        self.ear.client(self.now, self._clients, "open")
        return self._clients

    def went(self, pair: _Controller, number: int, reset: bool) -> None:
        """Its connection is gone."""
        self._pairs.discard(pair)
        self.ear.client(self.now, number, "reset" if reset else "close")


class _Side(asyncio.Protocol):
    """One end of a connection through the tap; `other`: the opposite end."""

    other: _Side | None = None

    def __init__(self, tap: Tap) -> None:
        self.tap = tap
        self.transport: asyncio.Transport | None = None
        self.ended = False  # it sends no more

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport

    def eof_received(self) -> bool:
        self.ended = True
        other = self.other
        if other is None or other.transport is None:
            return False
        if other.ended:
            other.transport.close()
            return False
        other.transport.write_eof()
        return True  # the other direction goes on

    def pause_writing(self) -> None:
        if self.other is not None and self.other.transport is not None:
            self.other.transport.pause_reading()

    def resume_writing(self) -> None:
        if self.other is not None and self.other.transport is not None:
            self.other.transport.resume_reading()

    def forward(self, data: bytes) -> None:
        """Write to the other end, at once."""
        if self.other is not None and self.other.transport is not None:
            self.other.transport.write(data)

    def leave(self, reset: bool) -> None:
        """The other end is gone."""
        if self.transport is None:
            return
        if reset:
            with contextlib.suppress(OSError, AttributeError):  # it is closed already
                self.transport.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, _AT_ONCE)
            self.transport.abort()
        else:
            self.transport.close()


class _Controller(_Side):
    """The end at the controller: it opens the end at the converter."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)
        assert self.transport is not None
        self.transport.pause_reading()  # until there is somewhere to write to
        peer = transport.get_extra_info("peername")
        if peer is not None:
            _keep_alive(transport.get_extra_info("socket"))
        self._number = self.tap.came(self)
        self.tap.news(f"controller {self._number} connected from {peer[0] if peer else 'the pseudo-terminal'}")
        self._opening = asyncio.get_running_loop().create_task(self._open())

    async def _open(self) -> None:
        target = self.tap.target
        where = target.path if isinstance(target, SerialEnd) else f"{target[0]}:{target[1]}"
        try:
            other = await self._opened(target)
        except OSError as error:  # TimeoutError too
            why = error.strerror or str(error) or f"no answer within {_PATIENCE:g} s"
            self.tap.news(f"the converter at {where} cannot be reached: {why}; controller {self._number} dropped")
            self.leave(True)
            return
        self.other = other
        if self.transport is None or self.transport.is_closing():
            other.leave(False)
            return
        self.tap.news(f"connected to the converter at {where} for controller {self._number}")
        self.transport.resume_reading()

    async def _opened(self, target: tuple[str, int] | SerialEnd) -> _Converter:
        other = _Converter(self.tap, self)
        if isinstance(target, SerialEnd):
            open_port(target, other)
            return other
        async with asyncio.timeout(_PATIENCE):
            await asyncio.get_running_loop().create_connection(lambda: other, *target)
        return other

    def data_received(self, data: bytes) -> None:
        at = self.tap.now
        self.forward(data)
        self.tap.ear.sent(data, at)

    def connection_lost(self, exc: Exception | None) -> None:
        self._opening.cancel()
        self.tap.news(f"controller {self._number} {'was reset' if exc else 'has gone'}")
        if self.other is not None:
            self.other.leave(exc is not None)
        self.tap.went(self, self._number, exc is not None)

    def end(self) -> None:
        """The tap ends."""
        self._opening.cancel()
        self.leave(False)


def _keep_alive(one: socket.socket) -> None:
    """Have the system notice a controller without power: otherwise it would hold the converter's slot for ever."""
    one.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for name, value in (("TCP_KEEPIDLE", 10), ("TCP_KEEPINTVL", 5), ("TCP_KEEPCNT", 3)):  # seconds, seconds, times
        if hasattr(socket, name):
            one.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)


class _Converter(_Side):
    """The end at the converter."""

    def __init__(self, tap: Tap, other: _Side) -> None:
        super().__init__(tap)
        self.other = other
        self._held: deque[tuple[int, bytes]] = deque()  # (when due, bytes)

    def data_received(self, data: bytes) -> None:
        at = self.tap.now
        if self.tap.faults.on or self._held:
            self._spoil(data, at)
        else:
            self.forward(data)
        self.tap.ear.heard(data, at)

    def _spoil(self, data: bytes, at: int) -> None:
        """Forward with the faults that are on; a piece held back holds those behind it back too."""
        delay, data, fault = self.tap.faults.apply(data)
        if fault:
            self.tap.ear.effect(at, fault)
        if self._held or delay:
            due = max(at + delay, self._held[-1][0] if self._held else 0)
            self._held.append((due, data))
            asyncio.get_running_loop().call_later((due - at) / 1e9, self._release)
        else:
            self.forward(data)

    def _release(self) -> None:
        self.forward(self._held.popleft()[1])

    def connection_lost(self, exc: Exception | None) -> None:
        if self.other is not None and self.other.transport is not None and not self.other.transport.is_closing():
            self.tap.news(f"the converter has {'reset' if exc else 'closed'} the connection")
        if self.other is not None:
            self.other.leave(exc is not None)

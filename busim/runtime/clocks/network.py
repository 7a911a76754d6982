"""The network of virtual time: all its servers, in memory.

A `Place` is an address to serve later: the loop takes it where asyncio takes a listening socket, so the code that
serves a converter on a real socket serves it here. Other servers are those that a controller opens itself.
"""

from __future__ import annotations

import asyncio
import errno
import sys
from collections.abc import Callable, Iterable
from typing import Any

from busim.runtime.clocks.ends import End, Handle

Address = tuple[str, int]

ANY = ("", "0.0.0.0", "::")
_FIRST, _LAST = 49152, 65535  # dynamic ports: RFC 6335, 6


class Place:
    """Addresses for a converter in memory; `passage`: ns from there to a client, one way."""

    def __init__(self, *addresses: Address, passage: int = 0) -> None:
        self.addresses = addresses
        self.passage = passage

    def getsockname(self) -> Address:
        return self.addresses[0]


class Server(asyncio.AbstractServer):
    """Serves at addresses in memory. As asyncio's server, of the running Python's version."""

    def __init__(
        self, loop: asyncio.AbstractEventLoop, network: Network, addresses: Iterable[Address],
        factory: Callable[[], asyncio.BaseProtocol], *, direct: bool = False, passage: int = 0,
    ) -> None:  # fmt: skip
        self._loop = loop
        self._network = network
        self._addresses = tuple(addresses)
        self._clients: set[End] = set()
        self._closed = self._serving = False
        self._waiters: list[asyncio.Future[None]] = []
        self._forever: asyncio.Future[None] | None = None
        self.factory = factory
        self.direct = direct
        self.passage = passage
        self.down = ""
        network.take(self, self._addresses)

    @property
    def sockets(self) -> tuple[Any, ...]:
        return () if self._closed else tuple(Handle(address) for address in self._addresses)

    def get_loop(self) -> asyncio.AbstractEventLoop:
        return self._loop

    def is_serving(self) -> bool:
        return self._serving

    async def start_serving(self) -> None:
        self._serving = not self._closed

    async def serve_forever(self) -> None:
        if self._forever is not None:
            raise RuntimeError(f"server {self!r} is already being awaited on serve_forever()")
        if self._closed:
            raise RuntimeError(f"server {self!r} is closed")
        await self.start_serving()
        self._forever = self._loop.create_future()
        try:
            await self._forever
        except asyncio.CancelledError:
            self.close()
            await self.wait_closed()
            raise
        finally:
            self._forever = None

    def close(self) -> None:
        if self._closed:
            return
        self._closed, self._serving = True, False
        self._network.release(self._addresses)
        if self._forever is not None and not self._forever.done():
            self._forever.cancel()
        self._wake()

    async def wait_closed(self) -> None:
        """Until the server is closed and, as from Python 3.12.1 on, its connections too."""
        if sys.version_info >= (3, 12, 1):
            done = self._closed and not self._clients
        else:
            done = self._closed
        if not done:
            waiter: asyncio.Future[None] = self._loop.create_future()
            self._waiters.append(waiter)
            await waiter

    def suspend(self, how: str) -> None:
        """The server is down: new clients are refused, or get no answer (`how`: refuse, hang)."""
        self.down = how

    def resume(self) -> None:
        self.down = ""

    def close_clients(self) -> None:
        for end in list(self._clients):
            end.close()

    def abort_clients(self) -> None:
        for end in list(self._clients):
            end.abort()

    def accept(self, own: Address, peer: Address) -> End:
        """An end for a new client; it begins at the loop's next turn."""
        end = End(self._loop, self.factory(), own, peer, direct=self.direct, gone=self._gone)
        self._clients.add(end)
        self._loop.call_soon(end.begin)
        return end

    def _gone(self, end: End) -> None:
        self._clients.discard(end)
        self._wake()

    def _wake(self) -> None:
        if self._closed and not self._clients:
            for waiter in self._waiters:
                if not waiter.done():
                    waiter.set_result(None)
            self._waiters.clear()

    def drop(self) -> None:
        """The loop ends: tell connected clients now."""
        for end in list(self._clients):
            end.drop()


class Network:
    """The server at each address."""

    def __init__(self) -> None:
        self._servers: dict[Address, Server] = {}
        self._next = _FIRST

    @property
    def servers(self) -> list[Server]:
        return list(dict.fromkeys(self._servers.values()))

    def find(self, address: Address) -> Server | None:
        """The server at this address."""
        for host in (address[0], *ANY):
            server = self._servers.get((host, address[1]))
            if server is not None and server.is_serving():
                return server
        return None

    def free_port(self, also: Callable[[int], bool] = lambda _: False) -> int:
        """A port that is free, in `also` too; the same ones in the same order in each run."""
        taken = {port for _, port in self._servers}
        for _ in range(_FIRST, _LAST + 1):
            port, self._next = self._next, self._next + 1 if self._next < _LAST else _FIRST
            if port not in taken and not also(port):
                return port
        raise OSError(errno.EADDRINUSE, "no port is free")

    def take(self, server: Server, addresses: Iterable[Address]) -> None:
        wanted = tuple(addresses)
        for address in wanted:
            if address in self._servers:
                raise OSError(errno.EADDRINUSE, f"error while attempting to bind on address {address}: in use")
        self._servers.update(dict.fromkeys(wanted, server))

    def release(self, addresses: Iterable[Address]) -> None:
        for address in addresses:
            self._servers.pop(address, None)

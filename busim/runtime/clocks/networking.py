"""The network side of a loop in virtual time: connections, servers and datagrams in memory."""

from __future__ import annotations

import asyncio
import errno
import ipaddress
import socket
from collections.abc import Callable
from typing import Any

from busim.runtime.clocks.datagrams import DatagramEnd, Datagrams
from busim.runtime.clocks.ends import End
from busim.runtime.clocks.network import ANY, Address, Network, Place, Server
from busim.runtime.clocks.refused import refuse

# Seconds from one SYN without an answer to the next: RFC 6298, 2 (first 1 s) and 5.5 (doubled); after six repetitions a
# Linux system gives up (tcp_syn_retries; from memory).
_AGAIN = (1, 2, 4, 8, 16, 32, 64)


class Networking(asyncio.BaseEventLoop):
    """A loop whose network is memory. Raises the errors of sockets, and Refused for features that memory lacks."""

    def __init__(self) -> None:
        super().__init__()
        self._network = Network()
        self._datagrams = Datagrams()

    async def create_connection(  # type: ignore[override]
        self, protocol_factory: Callable[[], asyncio.BaseProtocol], host: str | None = None,
        port: int | None = None, *, ssl: Any = None, sock: Any = None, local_addr: tuple[str, int] | None = None,
        **_: Any,
    ) -> tuple[asyncio.Transport, asyncio.BaseProtocol]:  # fmt: skip
        """Connect to a converter of the plan or to a server of this loop. Raises OSError as a socket does."""
        self._plain(ssl, sock)
        if host is None and port is None:
            raise ValueError("host and port was not specified and no sock specified")
        there = (_literal(host), int(port or 0))
        server = self._network.find(there)
        if server is None:
            await asyncio.sleep(0)
            raise ConnectionRefusedError(errno.ECONNREFUSED, f"Connect call failed {there}: no server is there")
        own_host, own_port = local_addr or ("", 0)
        here = (own_host or "127.0.0.1", own_port or self._network.free_port())
        await self._reach(server, there)
        theirs = server.accept(there, here)
        end = End(self, protocol_factory(), here, there)
        end.join(theirs)
        waiter = self.create_future()
        self._after(server.passage, end.begin)
        self._after(server.passage, _done, waiter)
        try:
            await waiter
        except BaseException:
            end.abort()
            raise
        return end, end.get_protocol()

    async def _reach(self, server: Server, there: Address) -> None:
        """Reach a server, which may be down. Raises OSError as a socket does."""
        if server.passage:
            await asyncio.sleep(server.passage / 1e9)
        for pause in _AGAIN:
            if server.down != "hang":
                break
            await asyncio.sleep(pause)
        if server.down == "hang":
            raise TimeoutError(errno.ETIMEDOUT, f"Connect call failed {there}: it is down")
        if server.down or not server.is_serving():
            await asyncio.sleep(server.passage / 1e9)
            raise ConnectionRefusedError(errno.ECONNREFUSED, f"Connect call failed {there}: it is down")

    def _after(self, ns: int, what: Callable[..., None], *arguments: Any) -> None:
        if ns:
            self.call_later(ns / 1e9, what, *arguments)
        else:
            self.call_soon(what, *arguments)

    async def create_server(  # type: ignore[override]
        self, protocol_factory: Callable[[], asyncio.BaseProtocol], host: Any = None, port: int | None = None, *,
        sock: Any = None, ssl: Any = None, start_serving: bool = True, **_: Any,
    ) -> Server:  # fmt: skip
        """Serve in memory: other programs in this loop can connect. Raises OSError for an address in use."""
        if isinstance(sock, Place):
            server = Server(
                self, self._network, sock.addresses, protocol_factory, direct=True, passage=sock.passage
            )  # fmt: skip
        else:
            self._plain(ssl, sock)
            hosts = [host] if host is None or isinstance(host, str) else list(host)
            number = port or self._network.free_port()
            addresses = dict.fromkeys(("0.0.0.0" if not one else _literal(one), number) for one in hosts)
            server = Server(self, self._network, addresses, protocol_factory)
        if start_serving:
            await server.start_serving()
        return server

    async def create_datagram_endpoint(  # type: ignore[override]
        self, protocol_factory: Callable[[], asyncio.BaseProtocol], local_addr: tuple[str, int] | None = None,
        remote_addr: tuple[str, int] | None = None, *, sock: Any = None, **_: Any,
    ) -> tuple[DatagramEnd, asyncio.BaseProtocol]:  # fmt: skip
        """Send and receive datagrams in memory. Raises OSError for an address in use."""
        peer = None if remote_addr is None else (_literal(remote_addr[0]), int(remote_addr[1]))
        if isinstance(sock, Place):
            own = sock.addresses
        else:
            self._plain(None, sock)
            if local_addr is None and peer is None:
                raise ValueError("unexpected address family")
            host, port = local_addr or ("127.0.0.1", 0)
            port = port or self._network.free_port(self._datagrams.has_port)
            own = ((_literal(host) if host else "0.0.0.0", port),)
        direct = isinstance(sock, Place)
        end = DatagramEnd(self, self._datagrams, protocol_factory(), own, peer=peer, direct=direct)
        waiter = self.create_future()
        self.call_soon(end.begin)
        self.call_soon(_done, waiter)
        try:
            await waiter
        except BaseException:
            end.close()
            raise
        return end, end.get_protocol()

    async def getaddrinfo(
        self, host: Any, port: Any, *, family: int = 0, type: int = 0, proto: int = 0, flags: int = 0
    ) -> list[Any]:
        """Resolves addresses and `localhost`; other names are refused, since only the real network knows them."""
        address = _literal(None if host is None else host.decode() if isinstance(host, bytes) else host)
        number = int(port or 0)
        six = ":" in address
        kind = socket.SocketKind(type or socket.SOCK_STREAM)
        where: tuple[Any, ...] = (address, number, 0, 0) if six else (address, number)
        return [(socket.AF_INET6 if six else socket.AF_INET, kind, proto or socket.IPPROTO_TCP, "", where)]

    @staticmethod
    def _plain(ssl: Any, sock: Any) -> None:
        if sock is not None:
            refuse("real sockets (sock=...)")
        if ssl:
            refuse("TLS (ssl=...)", "connect without it: the line behind a converter is not encrypted either")


def _done(waiter: asyncio.Future[None]) -> None:
    if not waiter.done():
        waiter.set_result(None)


def _literal(host: str | None) -> str:
    """An address as written; names are refused."""
    if host is None or host == "localhost":
        return "127.0.0.1"
    if host in ANY:
        return host
    try:
        return str(ipaddress.ip_address(host))
    except ValueError:
        refuse(f"name look-ups ({host!r})", "connect to the address itself, as 127.0.0.1 or an endpoint of the plan")

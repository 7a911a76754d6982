"""Datagrams in memory: one end at an address, with the behaviour of UDP.

Each datagram arrives whole, once and in order, at the loop's next turn. A datagram to an address without an end is
lost, and only an end tied to one peer gets an error, as from a system. A `direct` end is a converter's door: it gets a
datagram at once.
"""

from __future__ import annotations

import asyncio
import errno
import sys
from collections.abc import Iterable
from typing import Any

from busim.runtime.clocks.ends import GuardedEnd, Handle
from busim.runtime.clocks.network import ANY, Address

_LARGEST = 65507  # bytes of data in one datagram: 65535 less 20 of IPv4 (RFC 791) and 8 of UDP (RFC 768)


class Datagrams:
    """The receiver of datagrams at each address."""

    def __init__(self) -> None:
        self._ends: dict[Address, DatagramEnd] = {}

    def take(self, end: DatagramEnd, addresses: Iterable[Address]) -> None:
        wanted = tuple(addresses)
        for address in wanted:
            if address in self._ends:
                raise OSError(errno.EADDRINUSE, "Address already in use")
        self._ends.update(dict.fromkeys(wanted, end))

    def release(self, addresses: Iterable[Address]) -> None:
        for address in addresses:
            self._ends.pop(address, None)

    def has_port(self, port: int) -> bool:
        return any(port == taken for _, taken in self._ends)

    def find(self, address: Address) -> DatagramEnd | None:
        return next((self._ends[key] for host in (address[0], *ANY) if (key := (host, address[1])) in self._ends), None)

    def drop(self) -> None:
        """The loop ends: nothing arrives any more."""
        for end in list(self._ends.values()):
            end.drop()


class DatagramEnd(GuardedEnd, asyncio.DatagramTransport):
    """`addresses`: its own, the first one preferred for sending; `peer`: the only one it talks to."""

    def __init__(
        self, loop: asyncio.AbstractEventLoop, network: Datagrams, protocol: asyncio.BaseProtocol,
        addresses: tuple[Address, ...], *, peer: Address | None = None, direct: bool = False,
    ) -> None:  # fmt: skip
        super().__init__({"sockname": addresses[0], "peername": peer, "socket": Handle(addresses[0], peer)})
        self._loop = loop
        self._network = network
        self._addresses = addresses
        self._peer = peer
        self._direct = direct
        self._closing = self._begun = False
        self._spoken_to: dict[Address, Address] = {}  # peers, and which of its addresses they know
        self.set_protocol(protocol)
        network.take(self, addresses)

    def begin(self) -> None:
        """Tell the protocol that it is connected."""
        self._guarded(self._protocol.connection_made, self)
        self._begun = True

    def set_protocol(self, protocol: asyncio.BaseProtocol) -> None:
        self._protocol = protocol

    def get_protocol(self) -> asyncio.BaseProtocol:
        return self._protocol  # type: ignore[no-any-return]

    def get_write_buffer_size(self) -> int:
        return 0

    def sendto(self, data: bytes | bytearray | memoryview, addr: Any = None) -> None:
        if not isinstance(data, (bytes, bytearray, memoryview)):
            raise TypeError(f"data argument must be a bytes-like object, not {type(data).__name__!r}")
        if self._peer is not None:
            if addr not in (None, self._peer):
                raise ValueError(f"Invalid address: must be None or {self._peer}")
            addr = self._peer
        if self._closing or (not data and sys.version_info < (3, 13)):
            return
        if addr is None:
            self._blame(TypeError("sendto(): no address, and the end has no peer"))
            return
        if len(data) > _LARGEST:
            self._guarded(self._protocol.error_received, OSError(errno.EMSGSIZE, "Message too long"))
            return
        there = (str(addr[0]), int(addr[1]))
        own = self._spoken_to.get(there, self._addresses[0])
        here = ("127.0.0.1" if own[0] in ANY else own[0], own[1])
        end = self._network.find(there)
        if end is None:
            if self._peer is not None:
                error = ConnectionRefusedError(errno.ECONNREFUSED, "Connection refused")
                self._loop.call_soon(self._guarded, self._protocol.error_received, error)
        elif end._direct:
            end._arrive(bytes(data), here, there)
        else:
            self._loop.call_soon(end._arrive, bytes(data), here, there)

    def _arrive(self, data: bytes, sender: Address, own: Address) -> None:
        if self._closing or not self._begun or self._peer not in (None, sender):
            return
        if len(self._addresses) > 1:
            self._spoken_to[sender] = own
        self._guarded(self._protocol.datagram_received, data, sender)

    def is_closing(self) -> bool:
        return self._closing

    def close(self) -> None:
        self._over(None)

    def _over(self, error: Exception | None) -> None:
        if not self._closing:
            self.drop()
            self._loop.call_soon(self._guarded, self._protocol.connection_lost, error)

    def abort(self) -> None:
        """As `close`: it holds nothing that could still be sent."""
        self.close()

    def drop(self) -> None:
        """Close without notice."""
        self._closing = True
        self._network.release(self._addresses)

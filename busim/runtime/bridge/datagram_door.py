"""The door of a UDP converter: a datagram in is bytes for the line, and each packet leaves as a datagram.

Without connections, a first datagram makes its sender a client, known by its address until the converter drops it. A
converter with its controller's address in the plan talks to that address alone. A network may lose, double or swap
datagrams; here only the system drops any.

While the box is down with `when_down: refuse`, nothing has its port, so the system answers "port unreachable" (ICMP).
With `hang`, datagrams vanish.
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable
from typing import Any

from busim.runtime.bridge.addresses import Address
from busim.runtime.bridge.binding import take_datagrams
from busim.runtime.bridge.door import Enter
from busim.simulator.world import ConverterPort

_LARGEST = 1472  # bytes in one Ethernet frame: 1500 (RFC 894) less 20 of IPv4 (RFC 791) and 8 of UDP (RFC 768)

_AGAIN = 1.0  # seconds until a port that somebody else took meanwhile is tried again

Peer = tuple[str, int]


class DatagramDoor(asyncio.DatagramProtocol):
    """Serves one converter. `news` gets a few words about clients that come, are refused or are dropped."""

    def __init__(self, name: str, port: ConverterPort, enter: Enter, news: Callable[[str], None]) -> None:
        self.port = port
        self.enter = enter
        self._name = name
        self._news = news
        self._arrived = 0
        self._numbers: dict[Peer, int] = {}
        self._peers: dict[int, Peer] = {}
        self._refused: Peer | None = None
        self._only: Peer | None = None
        self._pause = 0.0
        self._again: asyncio.TimerHandle | None = None
        self._transport: asyncio.DatagramTransport | None = None
        self._up, self._closed = True, False
        self._place: Any = None  # where it takes datagrams, in virtual time
        self._address: Address | None = None  # the same in wall time
        self._opening: asyncio.Task[None] | None = None
        port.clients.drop = self._drop
        port.clients.box_up = self._box_up

    async def open(self, bound: socket.socket) -> None:
        """Take datagrams, from now on."""
        if isinstance(bound, socket.socket):
            self._address = Address(*bound.getsockname())
        else:
            self._place = bound
        self._transport, _ = await asyncio.get_running_loop().create_datagram_endpoint(lambda: self, sock=bound)
        if not self._up:  # the box went down before this was done, on a busy machine
            self._shut()

    def _shut(self) -> None:
        if self.port.clients.when_down == "refuse" and self._transport is not None:
            self._transport.abort()
            self._transport = None

    def _box_up(self, on: bool) -> None:
        """The box goes down for a reboot, or is back."""
        if self._closed or on == self._up:
            return
        self._up = on
        self._news(f"{self._name}: {'is back' if on else 'reboots'}")
        if not on:
            self._shut()
        elif self.port.clients.when_down == "refuse":
            self._opening = asyncio.get_running_loop().create_task(self._open_again())

    async def _open_again(self) -> None:
        told = False
        while not self._closed and self._transport is None:
            try:
                await self.open(self._place or take_datagrams(self._address))  # type: ignore[arg-type]
            except OSError as error:
                if not told:
                    self._news(f"{self._name}: cannot be served again yet ({error.strerror or error})")
                told = True
                await asyncio.sleep(_AGAIN)

    def dial(self, host: str, port: int, pause: float) -> None:
        """Talk to this address alone; `pause`: seconds after which it becomes a client again once dropped."""
        self._only, self._pause = (host, port), pause
        self._meet_it()

    def close(self) -> None:
        """Take no more datagrams; the converter does not notice, since its run is over."""
        self._closed = True
        if self._opening is not None:
            self._opening.cancel()
        if self._again is not None:
            self._again.cancel()
        if self._transport is not None:
            self._transport.abort()
            self._transport = None

    def number(self) -> int:
        """The next client's."""
        self._arrived += 1
        return self._arrived

    # -- what comes -----------------------------------------------------------------------------------------

    def datagram_received(self, data: bytes, addr: tuple[Any, ...]) -> None:
        peer = (str(addr[0]), int(addr[1]))
        if not data or not self._up or self._closed or (self._only is not None and peer != self._only):
            return  # an empty datagram brings no bytes, so it makes no client
        number = self._numbers.get(peer) or self._meet(peer)
        if number:
            self.enter(self.port.chunk, number, data)

    def _meet(self, peer: Peer) -> int:
        """A number for an unknown sender; 0: it is refused."""
        number = self.number()
        self._numbers[peer], self._peers[number] = number, peer
        if self.enter(self.port.open, number, self.deliver):
            self._refused = None
            self._tell(number, f"from {peer[0]}:{peer[1]} is here")
            return number
        self._forget(number)
        if peer != self._refused:  # it will go on sending, and be a new client each time
            self._refused = peer
            self._tell(number, f"from {peer[0]}:{peer[1]} refused")
        return 0

    def _meet_it(self) -> None:
        """The client from the plan; repeated until the converter accepts it, for example during its start."""
        self._again = None
        if self._only is not None and self._only not in self._numbers and not self._meet(self._only):
            self._meet_later()

    def _meet_later(self) -> None:
        if self._again is None:
            self._again = asyncio.get_running_loop().call_later(self._pause, self._meet_it)

    # -- what goes ------------------------------------------------------------------------------------------

    def deliver(self, number: int, data: bytes) -> None:
        """The converter sends to a client; a packet too long for a datagram goes in several."""
        peer, transport = self._peers.get(number), self._transport
        if peer is not None and transport is not None:
            for start in range(0, len(data), _LARGEST):
                transport.sendto(data[start : start + _LARGEST], peer)

    def _drop(self, number: int, reset: bool) -> None:
        """The converter drops a client; the client gets no notice."""
        if number in self._peers:
            self._forget(number)
            self._tell(number, "forgotten by the converter")
            if self._only is not None and not self._closed:
                self._meet_later()

    def _forget(self, number: int) -> None:
        self._numbers.pop(self._peers.pop(number), None)

    def _tell(self, number: int, what: str) -> None:
        self._news(f"{self._name}: client {number} {what}")

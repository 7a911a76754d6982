"""A door: one converter as a TCP server, or as a client that connects to its controller.

Protocols and not streams, because the trace records the chunks in which bytes arrive. The converter makes all
decisions: which client is refused, which bytes are held and when a client must pause. Socket events enter the kernel
through `enter`, between two of its events; the kernel's output goes to the socket at once. One case needs care: a write
may fill a socket's buffer in the middle of an event, and then the converter learns of it after the event.
"""

from __future__ import annotations

import asyncio
import select
import socket
import struct
from collections.abc import Callable
from typing import Any, Protocol

from busim.runtime.bridge.binding import BACKLOG, RECEIVED
from busim.runtime.bridge.shut import Shut
from busim.simulator.converters import RECEIVE_BUFFER
from busim.simulator.world import ConverterPort

_AT_ONCE = struct.pack("ii", 1, 0)  # linger for no time: the other end sees a reset
_AGAIN = 0.2  # seconds between attempts to bind an address again
_LOOK = 0.1  # seconds between two checks whether a paused client is still connected
_ENDED = getattr(select, "POLLRDHUP", 0) | getattr(select, "POLLHUP", 0) | getattr(select, "POLLERR", 0)
_UNSENT = 16384  # bytes waiting in a client's write buffer above which it counts as one that does not read


class Enter(Protocol):
    """How events from outside enter a run: brings it to the present and calls `what` there; None after the run."""

    def __call__(self, what: Callable[..., Any], *arguments: Any) -> Any: ...


class Door:
    """Serves one converter. `news` gets a few words about clients that come, go, are refused or do not read."""

    def __init__(self, name: str, port: ConverterPort, enter: Enter, news: Callable[[str], None]) -> None:
        self.port = port
        self.enter = enter
        self.buffer = bytearray(RECEIVE_BUFFER)  # a client can be paused before it has sent much
        self.paused = False
        self.closed = False
        self._name = name
        self._news = news
        self._arrived = 0
        self._clients: dict[int, _Client] = {}
        self._server: asyncio.Server | None = None
        self._dialling: asyncio.Task[None] | None = None
        self._opening: asyncio.Task[None] | None = None
        self._watching: asyncio.TimerHandle | None = None
        port.flow = self._flow
        port.clients.drop = self._drop
        port.clients.box_up = self._box_up
        self._up = asyncio.Event()
        self._up.set()
        self._down = Shut()

    async def open(self, listening: socket.socket) -> None:
        """Admit clients from now on."""
        loop = asyncio.get_running_loop()
        self._server = await loop.create_server(lambda: _Client(self), sock=listening, backlog=BACKLOG)
        if not self._up.is_set():  # the box went down before this was done, on a busy machine
            self._shut()

    def _box_up(self, on: bool) -> None:
        """The box goes down for a reboot, or is back."""
        if self.closed or on == self._up.is_set():
            return
        self._news(f"{self._name}: {'is back' if on else 'reboots'}")
        if on:
            self._up.set()
        else:
            self._up.clear()
        if self._server is None:  # it dials, or is not open yet
            return
        in_memory: Any = self._server
        if not on:
            self._shut()
        elif hasattr(in_memory, "resume"):
            in_memory.resume()
        else:
            self._opening = asyncio.get_running_loop().create_task(self._open_again())

    def _shut(self) -> None:
        in_memory: Any = self._server
        if hasattr(in_memory, "suspend"):
            in_memory.suspend(self.port.clients.when_down)
        elif in_memory.sockets:
            self._down.shut(in_memory, hang=self.port.clients.when_down == "hang")

    async def _open_again(self) -> None:
        told = False
        while not self.closed:
            try:
                listening = self._down.open()
            except OSError as error:
                if not told:
                    self._news(f"{self._name}: cannot be served again yet ({error.strerror or error})")
                told = True
                await asyncio.sleep(_AGAIN)
            else:
                await self.open(listening)
                return

    def dial(self, host: str, port: int, pause: float) -> None:
        """Connect to a listening controller from now on; `pause`: seconds between attempts."""
        self._dialling = asyncio.get_running_loop().create_task(self._dial(host, port, pause))

    async def _dial(self, host: str, port: int, pause: float) -> None:
        loop = asyncio.get_running_loop()
        told = False
        while True:
            await self._up.wait()
            client = _Client(self)
            try:
                await loop.create_connection(lambda client=client: client, host, port)  # type: ignore[misc]
            except OSError as error:
                if not told:
                    self._news(f"{self._name}: no answer from {host}:{port} ({error.strerror or error})")
                told = True
            else:
                told = False
                await client.gone.wait()
            await asyncio.sleep(pause)

    def close(self) -> None:
        """Close the door and drop its clients; the converter does not notice, since its run is over."""
        self.closed = True
        self._watch_no_more()
        if self._dialling is not None:
            self._dialling.cancel()
        if self._opening is not None:
            self._opening.cancel()
        self._down.forget()
        if self._server is not None:
            self._server.close()
        for client in list(self._clients.values()):
            client.drop()

    def number(self) -> int:
        """The next client's."""
        self._arrived += 1
        return self._arrived

    def arrive(self, client: _Client) -> int:
        """A number for a new client."""
        number = self.number()
        self._clients[number] = client
        return number

    def leave(self, number: int) -> None:
        self._clients.pop(number, None)

    def tell(self, number: int, what: str) -> None:
        self._news(f"{self._name}: client {number} {what}")

    def deliver(self, number: int, data: bytes) -> None:
        """The converter sends to a client."""
        client = self._clients.get(number)
        if client is not None:
            client.send(data)

    def _drop(self, number: int, reset: bool) -> None:
        """The converter ends a connection."""
        client = self._clients.get(number)
        if client is not None:
            self.tell(number, "dropped by the converter")
            client.end(reset)

    def _flow(self, on: bool) -> None:
        self.paused = not on
        for client in self._clients.values():
            client.flow(on)
        self.watch()

    def watch(self) -> None:
        """Paused clients are not read, so their end is not seen: check for it from time to time."""
        self._watch_no_more()
        if self.paused and not self.closed and any(client.has_socket for client in self._clients.values()):
            self._watching = asyncio.get_running_loop().call_later(_LOOK, self._look)

    def _watch_no_more(self) -> None:
        if self._watching is not None:
            self._watching.cancel()
            self._watching = None

    def _look(self) -> None:
        for client in list(self._clients.values()):
            client.look()
        self.watch()


class _Client(asyncio.BufferedProtocol):
    """One connection. A protocol with a buffer, because a plain one is handed up to 256 kB at once."""

    _transport: asyncio.Transport

    def __init__(self, door: Door) -> None:
        self._door = door
        self._number = 0
        self._let_in = False
        self._stalled = False
        self._told = False
        self.gone = asyncio.Event()

    # -- what the socket does -------------------------------------------------------------------------------

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        door, self._transport = self._door, transport
        transport.set_write_buffer_limits(_UNSENT)  # asyncio itself sets TCP_NODELAY
        if door.closed:
            transport.abort()
            return
        number = self._number = door.arrive(self)
        self._let_in = bool(door.enter(door.port.open, number, door.deliver))
        host, port = transport.get_extra_info("peername")[:2]
        if not self._let_in:
            door.leave(number)
            door.tell(number, f"from {host}:{port} refused")
            transport.close()
            return
        door.tell(number, f"from {host}:{port} connected")
        if self.has_socket:  # a door that listens passes this on; one that dialled has it from now on
            transport.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, RECEIVED)
        if door.paused:
            transport.pause_reading()
            door.watch()

    def get_buffer(self, sizehint: int) -> bytearray:
        return self._door.buffer

    def buffer_updated(self, nbytes: int) -> None:
        door = self._door
        door.enter(door.port.chunk, self._number, bytes(door.buffer[:nbytes]))

    def pause_writing(self) -> None:
        self._stalled = True
        asyncio.get_running_loop().call_soon(self._tell_port)

    def resume_writing(self) -> None:
        self._stalled = False
        asyncio.get_running_loop().call_soon(self._tell_port)

    def connection_lost(self, error: Exception | None) -> None:
        self.gone.set()
        if self._let_in:
            self._let_in = False
            door, number = self._door, self._number
            door.leave(number)
            door.enter(lambda: door.port.close(number, reset=error is not None))
            door.tell(number, "gone" if error is None else "gone without a close")

    def _tell_port(self) -> None:
        """Between two events of the kernel: report whether the client reads, if that has changed."""
        if not self._let_in or self._told == self._stalled:
            return
        self._told = self._stalled
        door = self._door
        if self._stalled:
            door.tell(self._number, "does not read")
            door.enter(door.port.stall, self._number)
        else:
            door.tell(self._number, "reads again")
            door.enter(door.port.ready, self._number)

    # -- what the converter does ----------------------------------------------------------------------------

    def send(self, data: bytes) -> None:
        if not self._transport.is_closing():
            self._transport.write(data)

    def flow(self, on: bool) -> None:
        if on:
            self._transport.resume_reading()
        else:
            self._transport.pause_reading()

    def end(self, reset: bool) -> None:
        """Close after the sent bytes have left, or break off at once."""
        if not reset:
            self._transport.close()
            return
        end = self._transport.get_extra_info("socket")
        if end is not None:  # otherwise it lies in memory
            end.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, _AT_ONCE)
        self._transport.abort()

    @property
    def has_socket(self) -> bool:
        """Whether there is a system socket, not the memory network of a virtual world."""
        end = self._transport.get_extra_info("socket")
        return end is not None and end.fileno() >= 0

    def look(self) -> None:
        """Read a paused client that has ended: the rest is short, and then comes the end."""
        if not _ENDED or not self.has_socket or self._transport.is_closing():
            return
        poll = select.poll()
        poll.register(self._transport.get_extra_info("socket").fileno(), _ENDED)
        if poll.poll(0):
            self._transport.resume_reading()

    def drop(self) -> None:
        self._let_in = False
        self._transport.abort()

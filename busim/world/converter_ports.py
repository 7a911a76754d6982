"""A converter in a running installation: a station on the line on one side, clients on the other.

Clients are in the world (a played master) or outside (a real connection, which the bridge brings); the port does not
know which. All share the line and all get every reply; one too many is refused. What a client sends goes to the line in
the order of arrival; what the line brings goes out in packets.
"""

from __future__ import annotations

from collections.abc import Callable

from busim.bus import Line, Station
from busim.converters import Packer
from busim.kernel import Kernel
from busim.seams import Crossing
from busim.trace import EFFECT, INPUT, Emit

Deliver = Callable[[int, bytes], None]  # client, bytes

_HIGH = 2048  # characters waiting for the line above which clients are asked to pause
_MOST = 65536  # characters waiting for the line, or for a client that does not read, above which bytes are lost


class ConverterPort:
    """One converter. Clients are numbers; `deliver` takes what goes to one, `flow` asks one to pause or go on.

    `sent` is called with the bytes from outside that go to the line and `replied` with those that come from it, for who
    watches.
    """

    def __init__(
        self, kernel: Kernel, line: Line, station: Station, packer: Packer, *, to_line: Crossing, to_net: Crossing,
        most: int, number: int, emit: Emit,
    ) -> None:  # fmt: skip
        self._kernel = kernel
        self._line = line
        self._station = station
        self._packer = packer
        self._to_line = to_line
        self._to_net = to_net
        self._most = most
        self._emit = emit
        self.number = number
        self.fresh = True
        self.quiet_until = None
        self.stops = packer.stops
        self._armed = False
        self._clients: dict[int, Deliver] = {}
        self._stalled: dict[int, bytes] = {}
        self._outside: set[int] = set()
        self._paused = False
        self._crossing = 0  # bytes from outside on their way to the line
        self._line_time = 0  # when the last bytes towards the line, and towards the network, get there
        self._net_time = 0
        self.flow: Callable[[bool], None] = lambda _: None
        self.sent: Callable[[bytes, int], None] | None = None
        self.replied: Callable[[bytes, int, int], None] | None = None

    # -- the network side -----------------------------------------------------------------------------------

    def join(self, client: int, deliver: Deliver) -> None:
        """A client of the world itself."""
        self._clients[client] = deliver

    def open(self, client: int, deliver: Deliver) -> bool:
        """A client from outside connects; False: refused, there are as many as the converter takes."""
        self._input(client, "open", b"")
        if len(self._clients) >= self._most:
            self._effect("clients", f"client {client} refused: {self._most} are connected")
            return False
        self._clients[client] = deliver
        self._outside.add(client)
        return True

    def chunk(self, client: int, data: bytes) -> None:
        """Bytes from a client outside, one chunk as the network brought it."""
        self._input(client, "bytes", data)
        if client in self._clients:
            self._crossing += len(data)
            self._enter(data, self._forward_outside)
            self._hold_back()

    def close(self, client: int, *, reset: bool = False) -> None:
        """A client outside has gone."""
        self._input(client, "reset" if reset else "close", b"")
        self._clients.pop(client, None)
        self._stalled.pop(client, None)
        self._outside.discard(client)

    def stall(self, client: int) -> None:
        """A client outside does not read: hold what it would get."""
        self._input(client, "stall", b"")
        if client in self._clients:
            self._stalled.setdefault(client, b"")

    def ready(self, client: int) -> None:
        """It reads again."""
        self._input(client, "ready", b"")
        held = self._stalled.pop(client, b"")
        if held and client in self._clients:
            self._clients[client](client, held)

    def _input(self, client: int, what: str, data: bytes) -> None:
        self._emit((INPUT, self._kernel.now, self.number, client, what, data))

    def _effect(self, fault: str, text: str) -> None:
        self._emit((EFFECT, self._kernel.now, self.number, fault, text))

    @property
    def outside(self) -> bool:
        """Whether a client from outside is connected."""
        return bool(self._outside)

    # -- towards the line -----------------------------------------------------------------------------------

    def take(self, data: bytes) -> None:
        """Bytes from a client of the world now: they reach the line after the latency, in order."""
        self._enter(data, self._forward)

    def _enter(self, data: bytes, forward: Callable[[bytes], None]) -> None:
        self._line_time = max(self._line_time, self._kernel.now + self._to_line.delay())
        self._kernel.at(self._line_time, forward, data)

    def _forward(self, data: bytes) -> None:
        waiting = self.waiting()
        if waiting + len(data) > _MOST:
            self._effect("overrun", f"{len(data)} bytes lost: the line is too slow")
            return
        self._line.send(self._station, data)

    def _forward_outside(self, data: bytes) -> None:
        self._crossing -= len(data)
        if self.sent is not None and self.waiting() + len(data) <= _MOST:
            self.sent(data, self._kernel.now)
        self._forward(data)
        self._hold_back()

    def _hold_back(self) -> None:
        """Ask clients to pause when more is under way than the line carries soon."""
        if not self._paused and self._crossing + self.waiting() > _HIGH:
            self._paused = True
            self.flow(False)
            self._kernel.at(self._half_empty(), self._resume)

    def waiting(self) -> int:
        """Characters handed to the driver and not yet on the wire."""
        burst = self._station.burst
        return 0 if burst is None else max(0, burst.end - self._kernel.now) // self._station.setting.char

    def _half_empty(self) -> int:
        at = self._line_time if self._crossing else self._kernel.now
        burst = self._station.burst
        return at if burst is None else max(at, burst.end - _HIGH // 2 * self._station.setting.char)

    def _resume(self, _: object) -> None:
        if self._crossing + self.waiting() > _HIGH:
            self._kernel.at(self._half_empty(), self._resume)
            return
        self._paused = False
        self.flow(True)

    # -- towards the network (a Listener of the bus) -------------------------------------------------------------

    def heard(
        self, data: bytes, first: int, last: int, flags: int, source: Station | None, deaf: Station | None
    ) -> None:
        """Characters from the line. Flags are lost here: a raw TCP connection cannot carry them."""
        if self.replied is not None:
            self.replied(data, last, flags)
        for packet in self._packer.feed(data, last):
            self._send(packet, last)
        self._arm()

    def _arm(self) -> None:
        due = self._packer.due
        if due is not None and not self._armed:
            self._armed = True
            self._kernel.at_or_now(due, self._idle)

    def _idle(self, _: object) -> None:
        self._line.catch_up(self._station)
        self._armed = False
        packet = self._packer.elapsed(self._kernel.now)
        if packet:
            self._send(packet, self._kernel.now)
        else:
            self._arm()

    def _send(self, packet: bytes, at: int) -> None:
        if self._clients:
            self._net_time = max(self._net_time, at + self._to_net.delay(), self._kernel.now)
            self._kernel.at(self._net_time, self._arrive, packet)

    def _arrive(self, packet: bytes) -> None:
        for client, deliver in list(self._clients.items()):
            if client not in self._stalled:
                deliver(client, packet)
            elif len(self._stalled[client]) + len(packet) <= _MOST:
                self._stalled[client] += packet
            else:
                self._effect("unread", f"{len(packet)} bytes lost: client {client} does not read")

    def fork(self, station: Station, blank: bool) -> ConverterPort:
        return self

    def clear(self) -> None:
        """Nothing to forget: what is held goes out in its time."""

    def stop(self, held: int) -> int:
        return self._packer.stop()

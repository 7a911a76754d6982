"""A converter in a running installation: a station on the line on one side, clients on the other.

All clients share the line. Their bytes go to it in the order of arrival, or (arbitrated) request by request. Bytes of
the line leave in packets, to all clients or to the one that asked. If clients may set the port (RFC 2217, or a local
port), the driver keeps the order of bytes and settings.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Final

from busim.foundation.units import CharFormat
from busim.recording.trace import CHANGE, EFFECT, INPUT, Emit
from busim.simulator.bus import Burst, Line, Listener, Setting, Station, setting
from busim.simulator.converters import (
    MOST_DATAGRAMS,
    MOST_WAITING,
    PAUSE_ABOVE,
    Action,
    Answer,
    Apply,
    Arbiter,
    Break,
    ComPort,
    Forward,
    Hold,
    Packer,
    Policy,
    Purge,
    Signal,
)  # fmt: skip
from busim.simulator.fault_hooks import Crossing, Passage
from busim.simulator.kernel import Kernel
from busim.simulator.world.arbitration import Arbitration
from busim.simulator.world.clients import Clients, Deliver
from busim.simulator.world.control_answers import ControlAnswers
from busim.simulator.world.driver_queue import PORTION, Change, DriverQueue

_AGES: Final = 3600 * 10**9  # ns: a break lasts until a client ends it


class ConverterPort(Listener):
    """One converter. Clients are numbers; `deliver` sends to one, `flow` asks one to pause or go on.

    `clients.drop` ends a connection (client, whether by a reset). `sent` gets the bytes from outside that go to the
    line, `replied` those that come from it; `labelled` numbers a setting of the station. `control`: its answers to COM
    port control. Hook points: `to_line` and `clients.to_net` (how long a passage takes), `down` and `clients.up` (its
    bytes).
    """

    def __init__(
        self, kernel: Kernel, line: Line, station: Station, packer: Packer, *, to_line: Crossing, to_net: Crossing,
        policy: Policy, com: ComPort | None, arbiter: Arbiter | None, number: int, emit: Emit,
    ) -> None:  # fmt: skip
        super().__init__()
        self._kernel = kernel
        self._line, self._station, self._packer = line, station, packer
        self.to_line = to_line
        self.down: Passage = self._reach_line
        self._policy = policy
        self._emit = emit
        self.number = number
        self.stops = packer.stops
        self._armed = False
        self._paused = False
        self._most_waiting = MOST_DATAGRAMS if policy.datagrams else MOST_WAITING
        self._crossing = 0  # bytes from outside under way to the line
        self._line_time = 0  # when the last bytes towards the line arrive
        self._com = com
        self._at_first = station.setting
        self._down_until = 0
        self._life = 0  # counts reboots: bytes under way at a reboot do not arrive
        self.clients = Clients(kernel, policy, to_net, com, self._effect, self._left)
        self._arbitration: Arbitration | None = None
        if arbiter is not None:
            self._arbitration = Arbitration(
                kernel, line, station, arbiter, packer, self.clients, self._send_request, self._effect
            )
        self._driver: DriverQueue | None = None if com is None else self._make_driver()
        self.control = ControlAnswers(kernel, com, self.clients)
        self.flow: Callable[[bool], None] = lambda _: None
        self.sent: Callable[[bytes, int], None] | None = None
        self.replied: Callable[[bytes, int, int], None] | None = None
        self.labelled: Callable[[Station], int] = lambda station: station.setting_label

    def start(self) -> None:
        """Instant 0."""
        self.clients.start()
        if self._policy.clients.keep_alive_every and self._policy.clients.keep_alive_to == "line":
            self._kernel.at(self._policy.clients.keep_alive_every, self._keep_line_alive)
        for at, down in self._policy.reboots:
            self._kernel.at_shown(at, self.reboot, down)

    # -- the network side -----------------------------------------------------------------------------------

    @property
    def outside(self) -> bool:
        """Whether a client from outside is connected."""
        return self.clients.outside

    @property
    def setting(self) -> tuple[Fraction, CharFormat]:
        """The present setting of the port."""
        return self._station.setting.baud, self._station.setting.format

    @property
    def obeys(self) -> bool:
        """Whether clients can set its port."""
        return self._com is not None and self._com.manner == "applies"

    def join(self, client: int, deliver: Deliver) -> None:
        """A client in the world itself."""
        self.clients.stay(client, deliver)

    def open(self, client: int, deliver: Deliver, plain: bool = False) -> bool:
        """A client from outside connects; False: refused. `plain`: no network connection, so it never speaks Telnet."""
        self._input(client, "open", b"plain" if plain else b"")
        return self.clients.open(client, deliver, plain=plain)

    def chunk(self, client: int, data: bytes) -> None:
        """Bytes from a client outside, one chunk as received; an empty one (a datagram) is ignored."""
        if not data or not self.clients.notes(client, data):
            return
        self._input(client, "bytes", data)
        if self.clients.has(client):
            for action in self.clients.receive(client, data):
                self._ask(client, action)
            self._hold_back()

    def set(self, client: int, baud: Fraction, format: CharFormat) -> None:
        """A plain client sets the port."""
        self._input(client, "set", f"{baud} {format}".encode())
        if self.clients.has(client):
            self._ask(client, Apply(baud, format))

    def close(self, client: int, *, reset: bool = False) -> None:
        """A client outside has gone."""
        self._input(client, "reset" if reset else "close", b"")
        self.clients.close(client, ended=not reset)

    def _left(self, client: int, actions: list[Action]) -> None:
        """A served client has gone, by itself or dropped."""
        for action in actions:
            self._ask(client, action)
        if self._arbitration is not None:
            self._arbitration.leave(client)

    def stall(self, client: int) -> None:
        """A client outside does not read: hold its bytes."""
        self._input(client, "stall", b"")
        self.clients.stall(client, True)

    def ready(self, client: int) -> None:
        """It reads again."""
        self._input(client, "ready", b"")
        self.clients.stall(client, False)

    def _input(self, client: int, what: str, data: bytes) -> None:
        self._emit((INPUT, self._kernel.now, self.number, client, what, data))

    def _effect(self, fault: str, text: str) -> None:
        self._emit((EFFECT, self._kernel.now, self.number, fault, text))

    # -- towards the line -----------------------------------------------------------------------------------

    def take(self, data: bytes, client: int = 0) -> None:
        """Take bytes from a client in the world now. They reach the line after the latency, in order; an empty chunk is
        ignored.
        """
        if data and self._kernel.now >= self._down_until:
            self._kernel.at(self._crossed(), self._forward, (self._life, client, data))

    def _ask(self, client: int, action: Action) -> None:
        """The actions of a client outside, on their way."""
        if isinstance(action, Forward):
            self._crossing += len(action.data)
            self._kernel.at(self._crossed(), self._forward_outside, (self._life, client, action.data))
        else:
            self._kernel.at_near(self._crossed(), self._operate, (self._life, client, action))

    def _crossed(self) -> int:
        """When bytes from the network of now reach the line, ns."""
        self._line_time = max(self._line_time, self._kernel.now + self.to_line.delay())
        return self._line_time

    def _forward(self, what: tuple[int, int, bytes]) -> None:
        life, client, data = what
        if life == self._life and self._kernel.now >= self._down_until:
            self.down(data, client)

    def _reach_line(self, data: bytes, client: int | None) -> None:
        """Bytes have reached the line's side."""
        if self._arbitration is not None:
            self._arbitration.take(client or 0, data)
        elif self.waiting() + len(data) > self._most_waiting:
            self._effect("overrun", f"{len(data)} bytes lost: the line is too slow")
        else:
            self._drive(data)

    def _drive(self, data: bytes) -> None:
        """Hand characters to the driver: all at once if they fit, else a few at a time."""
        if self._driver is None and len(data) > PORTION:
            self._driver = self._make_driver()
        if self._driver is None:
            self._line.send(self._station, data)
        else:
            self._driver.send(data)

    def _send_request(self, raw: bytes) -> int:
        """Send an arbitrated request. Returns the end of its last character, ns."""
        now = self._kernel.now
        if self.sent is not None:
            self.sent(raw, now)
        self._drive(raw)
        burst = self._station.burst
        if self._driver is None and burst is not None:
            return burst.end
        return now + (self.waiting() + 1) * self._station.setting.char

    def _forward_outside(self, what: tuple[int, int, bytes]) -> None:
        life, _, data = what
        self._crossing -= len(data)
        drives = self._arbitration is None and life == self._life and self.waiting() + len(data) <= self._most_waiting
        if drives and self.sent is not None:
            self.sent(data, self._kernel.now)
        self._forward(what)
        if self._crossing or len(data) > PAUSE_ABOVE:  # otherwise the next chunk asks
            self._hold_back()

    def _hold_back(self) -> None:
        """Ask clients to pause when more is under way than the line can send soon."""
        if not self._paused and self._crossing + self.waiting() > PAUSE_ABOVE:
            self._paused = True
            self.flow(False)
            self._kernel.at(self._half_empty(), self._resume)

    def waiting(self) -> int:
        """Characters handed over for sending and not yet on the wire."""
        burst = self._station.burst
        queued = 0 if self._driver is None else self._driver.waiting
        if burst is None or burst.end <= self._kernel.now or not burst.data:
            return queued
        return queued + (burst.end - self._kernel.now) // self._station.setting.char

    def out_at(self) -> int:
        """When the driver will have sent, or had sent, the last of its bytes (ns, as far as known)."""
        burst = self._station.burst
        queued = 0 if self._driver is None else self._driver.waiting
        left = 0 if burst is None else min(burst.end, self._kernel.now + _AGES)
        return max(left, self._kernel.now) + queued * self._station.setting.char if queued else left

    def _half_empty(self) -> int:
        at = self._line_time if self._crossing else self._kernel.now
        char = self._station.setting.char
        if self._driver is not None:
            return max(at, self._kernel.now + max(1, self.waiting() - PAUSE_ABOVE // 2) * char)
        burst = self._station.burst
        return at if burst is None else max(at, burst.end - PAUSE_ABOVE // 2 * char)

    def _resume(self, _: object) -> None:
        if self._crossing + self.waiting() > PAUSE_ABOVE:
            self._kernel.at(self._half_empty(), self._resume)
            return
        self._paused = False
        self.flow(True)

    def _keep_line_alive(self, _: object) -> None:
        burst, every = self._station.burst, self._policy.clients.keep_alive_every
        due = every + (0 if burst is None else burst.end)
        if due <= self._kernel.now:
            self._forward((self._life, 0, self._policy.clients.keep_alive))
            due = self._kernel.now + every
        self._kernel.at(max(due, self._kernel.now + 1), self._keep_line_alive)

    # -- a port that clients can set ------------------------------------------------------------------------

    def _operate(self, what: tuple[int, int, Action]) -> None:
        life, client, action = what
        if life != self._life:
            return
        if isinstance(action, Answer):
            self.control.answer(client, action.data)
        elif isinstance(action, Apply):
            old = self._station.setting
            self._driver = self._driver or self._make_driver()
            self._driver.change(setting(action.baud, action.format, old.ppm, old.inverted))
        elif isinstance(action, Break) and self._driver is not None:
            self._driver.change(action.on)
        elif isinstance(action, Signal):
            self._changed_to(action.name, "on" if action.on else "off")
        elif isinstance(action, Hold):
            self.clients.hold(client, action.on)
        elif isinstance(action, Purge):
            self._purge(client, action)

    def _purge(self, client: int, purge: Purge) -> None:
        if purge.waiting and self._driver is not None:
            lost = self._driver.purge()
            if lost:
                self._effect("purge", f"{lost} bytes that waited for the line")
        if purge.received:
            self._line.catch_up(self._station)
            lost = len(self._packer.take())
            self.clients.forget(client)
            if lost:
                self._effect("purge", f"{lost} bytes that had come from the line")

    def reboot(self, down: int) -> None:
        """Reboot: held bytes are lost, connections break, and the port has its initial setting."""
        self._line.catch_up(self._station)
        self._effect("reboot", f"down for {down} ns")  # judges read the time
        self._down_until = max(self._down_until, self._kernel.now + down)
        self.clients.reboot(self._down_until)
        self._life += 1
        self._line.cut_off(self._station)
        self._packer.take()
        if self._arbitration is not None:
            self._arbitration.clear()
        if self._com is not None:
            self._com.restart()
        if self._driver is not None:
            self._driver.clear()
            self._driver.change(False)
            if self._station.setting is not self._at_first:
                self._driver.change(self._at_first)

    def retune(self, to: Setting) -> None:
        """Set its port, after the bytes that wait for the line."""
        self._driver = self._driver or self._make_driver()
        self._driver.change(to)

    def _make_driver(self) -> DriverQueue:
        return DriverQueue(self._kernel, self._line, self._station, self._changed)

    def _changed(self, change: Change) -> None:
        """The driver has carried out a change."""
        if isinstance(change, Setting):
            self._packer.set_char(change.char)
            self.stops = self._packer.stops
            self._station.setting_label = self.labelled(self._station)
            self._changed_to("setting", f"{change.baud} Bd {change.format}")
        else:
            self._changed_to("break", "on" if change else "off")

    def _changed_to(self, what: str, value: str) -> None:
        self._emit((CHANGE, self._kernel.now, self.number, what, value))

    # -- towards the network -------------------------------------------------------------------------------------

    def heard(
        self, data: bytes, first: int, last: int, flags: int, source: Station | None, deaf: Station | None
    ) -> None:
        """Characters from the line. A raw connection carries no flags; COM port control reports them."""
        if first < self._down_until:
            data, first = self._station.setting.since(data, first, self._down_until)
            if not data:
                return
        if self.replied is not None:
            self.replied(data, last, flags)
        if flags:
            self.clients.notice(flags)
        for packet in self._packer.feed(data, last):
            self._send(packet, last)
        if self._arbitration is not None:
            self._arbitration.heard(data, last + self._station.setting.tail)
        self._arm()

    def _arm(self) -> None:
        due = self._packer.due
        if due is not None and not self._armed:
            self._armed = True
            self._kernel.at_near(max(due, self._kernel.now), self._idle)

    def _idle(self, _: object) -> None:
        self._line.catch_up(self._station)
        self._armed = False
        packet = self._packer.elapsed(self._kernel.now)
        if packet:
            self._send(packet, self._kernel.now)
        else:
            self._arm()

    def _send(self, packet: bytes, at: int) -> None:
        if self._arbitration is None:
            self.clients.send(packet, at)
        elif self._arbitration.owner is not None:
            self.clients.send(packet, at, self._arbitration.owner)

    def stop(self, burst: Burst, held: int, delay: int) -> int:
        return self._packer.stop()

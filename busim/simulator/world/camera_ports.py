"""One camera on a line: its port for requests and answers, and the effects of power, boots and faults."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache
from typing import Final

from busim.foundation.units import CharFormat
from busim.protocols import ASSIGN, SEARCH, BusProtocol, Reply, Request
from busim.recording.trace import CHANGE, EFFECT, Emit
from busim.simulator.bus import Line, Listener, Station
from busim.simulator.cameras import Camera, Changed, Deaf, Did, NewId, NewPort, Refused, Restart, Wake
from busim.simulator.fault_hooks import CameraReply, CameraRequest
from busim.simulator.kernel import Kernel

_REMEMBERED: Final = 32  # served requests that a camera port remembers: more than can be under way
_ENCODED: Final = 64  # latest replies whose bytes it keeps: the same few polls mostly get the same values


class Roll(Listener):
    """A listener that knows the cameras that hear (`camera_hearing.Hearing`)."""

    __slots__ = ()

    def enlist(self) -> None:
        """Find again the cameras that hear, and their IDs."""
        raise NotImplementedError


class _Outlet:
    """The driver of a camera. A power cut drops every reply that has not begun. `sending`: its `send`, bound once."""

    __slots__ = ("_line", "_station", "sending")

    def __init__(self, line: Line | None, station: Station) -> None:
        self._line = line
        self._station = station
        self.sending: Callable[[bytes], None] = self.send

    def send(self, raw: bytes) -> None:
        if self._line is not None:
            self._line.send(self._station, raw)

    def close(self) -> None:
        self._line = None


class CameraPort:
    """One camera at its station. It remembers for a while when it took which request.

    `hears`: whether it has power, has booted and is not deaf; `answers_to`: the bus IDs whose requests it takes, None
    for its own. The tables of its `Hearing` are built from both, so no request checks them. `asked(request, at)`: a
    request for it was complete at `at` ns; with `reply` one of its two hook points.
    `spoiled`: faults to be told when a damaged frame reached it; `booted`: those to be told when it has booted.
    """

    __slots__ = (
        "_emit",
        "_encode",
        "_instead",
        "_kernel",
        "_line",
        "_outlet",
        "_seized",
        "_served",
        "_turn",
        "answers_to",
        "asked",
        "booted",
        "camera",
        "hears",
        "number",
        "powered",
        "protocol",
        "reply",
        "set_port",
        "spoiled",
        "station",
    )

    def __init__(
        self, kernel: Kernel, line: Line, station: Station, camera: Camera, protocol: BusProtocol, reply: CameraReply,
        emit: Emit, number: int,
    ) -> None:  # fmt: skip
        self.asked: CameraRequest = self._asked
        self.answers_to: tuple[int, ...] | None = None
        self.set_port: Callable[[Fraction, CharFormat], None] = lambda _baud, _format: None
        self.spoiled: list[Callable[[int], None]] = []
        self.booted: list[Callable[[], None]] = []
        self._instead: Callable[[], None] | None = None
        self._seized = False
        self._kernel = kernel
        self._line = line
        self.protocol = protocol
        self._encode = lru_cache(_ENCODED)(protocol.encode_reply)
        self.reply = reply
        self._emit = emit
        self._outlet = _Outlet(line, station)
        self._turn = 0  # counts changes of power and deafness: older plans are void
        self.station = station
        self.camera = camera
        self.number = number
        self.powered = True
        self.hears = True
        self._served: deque[tuple[Request, int]] = deque(maxlen=_REMEMBERED)  # with its instant, ns; the latest first

    def _asked(self, request: Request, at: int) -> None:
        """Serve the request, and answer after the turnaround."""
        camera = self.camera
        own = camera.bus_id if request.address == self.protocol.broadcast else None
        reply = camera.serve(request, at)
        self._note(request, at)
        answered = at
        if own is not None:
            if request.verb == SEARCH:
                answered += camera.waits
            elif request.verb != ASSIGN and not self.protocol.answers_broadcast:
                if camera.actions:
                    self._carry_out(at, at)
                return
            reply = reply._replace(address=own)
        raw = self._encode(reply)
        if raw:
            delay, raw = self.reply.answer(raw, reply)
            answered += delay
            if raw:  # a fault may have removed all of it
                self._kernel.at_or_now(answered, self._outlet.sending, raw)
        if camera.actions:
            setting = self.station.setting
            out = answered + max(self.station.lead, 0) + setting.offset(len(raw) * setting.halves)
            self._carry_out(at, out)

    def _note(self, request: Request, at: int) -> None:
        """Remember that it took this request."""
        self._served.appendleft((request, at))

    def fit_reply(self, reply: CameraReply) -> CameraReply:
        """Put another hook between the camera's answers and its driver. Returns the former one."""
        before, self.reply = self.reply, reply
        return before

    @property
    def last_asked(self) -> int:
        """When the last served request was complete, ns; -1 before the first."""
        return self._served[0][1] if self._served else -1

    @property
    def last_request(self) -> Request | None:
        """The last served request."""
        return self._served[0][0] if self._served else None

    # -- what a camera wishes ---------------------------------------------------------------------------------

    def _carry_out(self, at: int, answered: int) -> None:
        """Report the events of `at`, and carry out the wishes: some only after the reply (`answered`)."""
        for action in self.camera.actions:
            if isinstance(action, Changed):
                self._emit((CHANGE, at, self.number, action.name, str(action.value)))
            elif isinstance(action, Refused):
                self._emit((EFFECT, at, self.number, "refused", f"{action.what} of {action.reason}"))
            elif isinstance(action, Did):
                self._emit((EFFECT, at, self.number, "camera", action.what))
            elif isinstance(action, Wake):
                self._kernel.at_or_now(action.at, self._wake, action.at)
            elif isinstance(action, NewId):
                self._emit((CHANGE, at, self.number, "bus_id", str(action.bus_id)))
                self._enlist()
            elif isinstance(action, NewPort):
                self.set_port(action.baud, action.format)
            elif isinstance(action, Deaf):
                self._kernel.at_or_now(answered, self._deaf, (self._turn, action.until))
            elif isinstance(action, Restart):
                self._kernel.at_or_now(answered, self._restart, self._turn)

    def _wake(self, at: int) -> None:
        if self.powered:
            self.camera.woken(at)
            self._carry_out(at, at)

    def _deaf(self, what: tuple[int, int]) -> None:
        turn, until = what
        if turn == self._turn and self.hears and until > self._kernel.now:
            self._turn += 1
            self._hear(False)
            self._kernel.at(until, self._hear_again, self._turn)

    def _hear_again(self, turn: int) -> None:
        if turn == self._turn:
            self._hear(True)

    def power(self, on: bool, at: int) -> None:
        """Switch its power on or off at `at` ns. It boots first; unsaved values are lost. No change, no effect."""
        self._kernel.at_or_now(at, self._switch, on)

    def _switch(self, on: bool) -> None:
        if on is self.powered:
            return
        now = self._kernel.now
        self._turn += 1
        self.powered = on
        if on:
            self._kernel.at_or_now(now + self.camera.model.timing.boot, self._boot, self._turn)
            return
        self._outlet.close()
        self._line.cut_off(self.station)
        self.camera.cut(now)
        self._carry_out(now, now)
        self._hear(False)

    def _restart(self, turn: int) -> None:
        if turn == self._turn:
            self._switch(False)
            self._switch(True)

    def _boot(self, turn: int) -> None:
        if turn == self._turn:
            now = self._kernel.now
            self._outlet = _Outlet(None if self._seized else self._line, self.station)
            self.camera.booted(now)
            self._carry_out(now, now)
            self._hear(True)
            for told in list(self.booted):
                told()

    def fit(self, bus_id: int, serial: int) -> None:
        """Replace it now with another unit of its model, fresh from its box, without power."""
        self._switch(False)
        self.camera = Camera(self.camera.model, self.protocol.name, bus_id, serial, self.protocol.addresses)
        self.camera.forget_saves(self._instead)
        now = self._kernel.now
        self._emit((CHANGE, now, self.number, "bus_id", str(bus_id)))
        self._emit((CHANGE, now, self.number, "serial", str(serial)))

    # -- what a fault may do to it ------------------------------------------------------------------------------

    def listen_to(self, ids: tuple[int, ...] | None) -> None:
        """Take requests for these bus IDs from now on; None: for its own."""
        self.answers_to = ids
        self._enlist()

    def send(self, raw: bytes, at: int) -> None:
        """Send these bytes at `at` ns, if it still has power then."""
        self._kernel.at_or_now(at, self._outlet.sending, raw)

    def seize(self, seized: bool) -> None:
        """Whether a fault has its driver; its planned bytes are lost."""
        self._seized = seized
        self._outlet.close()
        self._outlet = _Outlet(self._line if self.powered and not seized else None, self.station)

    def acknowledge(self, request: Request, at: int) -> None:
        """Answer a request as if it had been carried out."""
        self._note(request, at)
        reply = Reply(request.address, request.verb, request.key, request.values, 0, request.form)
        delay, raw = self.reply.answer(self.protocol.encode_reply(reply), reply)
        if raw:
            self._kernel.at_or_now(at + delay, self._outlet.sending, raw)

    def carry_out(self, request: Request, at: int) -> None:
        """Carry out a request and answer nothing."""
        self.camera.serve(request, at)
        if self.camera.actions:
            self._carry_out(at, at)

    def restart(self) -> None:
        """Boot it, if it has power."""
        self._restart(self._turn if self.powered else -1)

    def forget_saves(self, instead: Callable[[], None] | None) -> None:
        """From now on a save is acknowledged and keeps nothing; `instead` is called each time.
        None: saves keep again.
        """
        self._instead = instead
        self.camera.forget_saves(instead)

    def _hear(self, hears: bool) -> None:
        self.hears = hears
        self._enlist()

    def _enlist(self) -> None:
        """Its listeners find again the cameras that hear, and their IDs."""
        group = self.station.group
        if group is not None:
            for listener in (group.listener, *(receiver.listener for receiver in group.receivers)):
                if isinstance(listener, Roll):
                    listener.enlist()

    def read_at(self, request: Request, since: int, until: int) -> int:
        """When it last served this request between two instants, ns; -1 if it did not.

        On a shared line another master may have sent the same request since, so the last serving is not everybody's.
        """
        address, verb, key, size, values, _ = request
        for served, at in self._served:
            if at < since:
                break
            to, what, first, count, given, _ = served  # in any of the protocol's messages
            if at <= until and first == key and count == size and to == address and what == verb and given == values:
                return at
        return -1

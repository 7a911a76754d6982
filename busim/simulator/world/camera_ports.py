"""Cameras on a line: the hearing that cameras set alike share, and the port through which one answers.

Every camera's parser sees all the traffic; as those with the same setting see the same, one framer and one
decoder serve them all. A camera that hears something else (a collision, its own settings) is given a fork.
"""

from __future__ import annotations

from collections import deque

from busim.protocols import ASSIGN, SEARCH, BusProtocol, Frames, Request, WireFramer
from busim.recording.trace import CHANGE, EFFECT, FRAME, Emit
from busim.simulator.bus import Line, Listener, Setting, Station
from busim.simulator.cameras import Camera, Changed, Deaf, Did, NewId, Refused, Restart, Wake
from busim.simulator.fault_hooks import CameraReply
from busim.simulator.kernel import Kernel

_REMEMBERED = 32  # requests served that a camera port still knows: more than are on their way back at any time
_DECODED = 1024  # different frames whose meaning a hearing keeps


class _Outlet:
    """The way out of a camera's driver. A power cut takes it away, with every reply that has not begun."""

    __slots__ = ("_line", "_station")

    def __init__(self, line: Line, station: Station) -> None:
        self._line: Line | None = line
        self._station = station

    def send(self, raw: bytes) -> None:
        if self._line is not None:
            self._line.send(self._station, raw)

    def close(self) -> None:
        self._line = None


class CameraPort:
    """One camera at its station. It remembers for a while when it served what, for those who asked.

    `hears`: whether it has power, has booted and is not deaf. It is looked at when the tables of its `Hearing` are
    made, so that nobody asks for it with every request.
    """

    __slots__ = (
        "_emit",
        "_kernel",
        "_line",
        "_outlet",
        "_reply",
        "_served",
        "_served_at",
        "_turn",
        "camera",
        "hears",
        "number",
        "powered",
        "protocol",
        "station",
    )

    def __init__(
        self, kernel: Kernel, line: Line, station: Station, camera: Camera, protocol: BusProtocol, reply: CameraReply,
        emit: Emit, number: int,
    ) -> None:  # fmt: skip
        self._kernel = kernel
        self._line = line
        self.protocol = protocol
        self._reply = reply
        self._emit = emit
        self._outlet = _Outlet(line, station)
        self._turn = 0  # counts power on and off, and deafness: what was planned before it changed is off
        self.station = station
        self.camera = camera
        self.number = number
        self.powered = True
        self.hears = True
        self._served: deque[Request] = deque(maxlen=_REMEMBERED)  # the latest first
        self._served_at: deque[int] = deque(maxlen=_REMEMBERED)

    def asked(self, request: Request, at: int) -> None:
        """A request for this camera was whole at `at` ns: serve it then, answer after the turnaround."""
        camera = self.camera
        own = camera.id if request.id == self.protocol.broadcast else None
        reply = camera.serve(request, at)
        self._served.appendleft(request)
        self._served_at.appendleft(at)
        answered = at
        if own is not None:
            if request.verb == SEARCH:
                answered += camera.waits
            elif request.verb != ASSIGN and not self.protocol.answers_broadcast:
                if camera.actions:
                    self._carry_out(at, at)
                return
            reply = reply._replace(id=own)
        raw = self.protocol.encode_reply(reply)
        if raw:
            delay, raw = self._reply.answer(raw)
            answered += delay
            if raw:  # a fault may have taken all of it
                self._kernel.at_or_now(answered, self._outlet.send, raw)
        if camera.actions:
            setting = self.station.setting
            self._carry_out(at, answered + setting.offset(len(raw) * setting.halves))

    def fit_reply(self, reply: CameraReply) -> CameraReply:
        """Put something else between the camera's answers and its driver, from now on; what was there before."""
        before, self._reply = self._reply, reply
        return before

    @property
    def last_request(self) -> Request | None:
        """What it served last."""
        return self._served[0] if self._served else None

    # -- what a camera wishes ---------------------------------------------------------------------------------

    def _carry_out(self, at: int, answered: int) -> None:
        """Tell what happened at `at`, and see to what it wishes: some of it when its reply is out (`answered`)."""
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
                self._emit((CHANGE, at, self.number, "bus_id", str(action.id)))
                self._enlist()
            elif isinstance(action, Deaf):
                self._kernel.at_or_now(answered, self._deaf, action.until)
            elif isinstance(action, Restart):
                self._kernel.at_or_now(answered, self._restart, self._turn)

    def _wake(self, at: int) -> None:
        if self.powered:
            self.camera.woken(at)
            self._carry_out(at, at)

    def _deaf(self, until: int) -> None:
        if self.hears and until > self._kernel.now:
            self._turn += 1
            self._hear(False)
            self._kernel.at(until, self._hear_again, self._turn)

    def _hear_again(self, turn: int) -> None:
        if turn == self._turn:
            self._hear(True)

    def power(self, on: bool, at: int) -> None:
        """Give it power or take it away, at `at` ns. It boots first; what was not saved is lost. Nothing happens to one
        that has it, or has none, already."""
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
            self._outlet = _Outlet(self._line, self.station)
            self.camera.booted(now)
            self._carry_out(now, now)
            self._hear(True)

    def fit(self, id: int, serial: int) -> None:
        """Another unit of its model takes its place, now, as it comes out of its box; it has no power yet."""
        self._switch(False)
        self.camera = Camera(self.camera.model, self.protocol.name, id, serial, self.protocol.ids)
        now = self._kernel.now
        self._emit((CHANGE, now, self.number, "bus_id", str(id)))
        self._emit((CHANGE, now, self.number, "serial", str(serial)))

    def _hear(self, hears: bool) -> None:
        self.hears = hears
        self._enlist()

    def _enlist(self) -> None:
        """Whoever hears for this camera looks anew at who there is, under which ID."""
        group = self.station.group
        if group is not None:
            for listener in (group.listener, *(receiver.listener for receiver in group.receivers)):
                if isinstance(listener, Hearing):
                    listener.enlist()

    def read_at(self, request: Request, since: int, until: int) -> int:
        """When it last served this request between two instants, ns; -1 where it did not.

        On a shared line somebody else may have asked it since, so its last serving is not everybody's.
        """
        wanted = request[:5]  # whichever of the protocol's messages it was
        for served, at in zip(self._served, self._served_at, strict=True):
            if at < since:
                break
            if at <= until and served[:5] == wanted:
                return at
        return -1


class Hearing:
    """What the cameras of one receiver group hear, cut into requests. A Listener of the bus."""

    __slots__ = (
        "_armed",
        "_by_id",
        "_deaf",
        "_decoded",
        "_emit",
        "_framer",
        "_kernel",
        "_line",
        "_live",
        "_ports",
        "_protocol",
        "_source",
    )

    stops = False

    def __init__(
        self, kernel: Kernel, line: Line, protocol: BusProtocol, framer: WireFramer, emit: Emit, ports: list[CameraPort]
    ) -> None:
        self._kernel = kernel
        self._line = line
        self._protocol = protocol
        self._framer = framer
        self._emit = emit
        self._armed = False
        self._deaf: Station | None = None
        self._source: Station | None = None
        self._ports = ports
        # What frames mean: polls are the same few thousands of times, and equal bytes mean the same.
        self._decoded: dict[bytes, Request | None] = {}
        self._live: list[CameraPort] = []
        self._by_id: dict[int, list[CameraPort]] = {}
        self.enlist()

    def add(self, port: CameraPort) -> None:
        """Add a camera to the group."""
        self._ports.append(port)
        self.enlist()

    def enlist(self) -> None:
        """Look anew at who hears, and under which ID."""
        self._live = [port for port in self._ports if port.hears]
        self._by_id = {}
        for port in self._live:
            self._by_id.setdefault(port.camera.id, []).append(port)

    @property
    def quiet_until(self) -> int | None:
        """When what it holds is over by silence, as where it was sent (ns)."""
        return self._framer.quiet_until

    @property
    def fresh(self) -> bool:
        """Holds nothing - or a frame that ends at this very nanosecond, whichever event of it comes first."""
        due = self._framer.quiet_until
        return due is None or due <= self._kernel.now

    def heard(
        self, data: bytes, first: int, last: int, flags: int, source: Station | None, deaf: Station | None
    ) -> None:
        frames = self._framer.feed(data, first, last, flags)
        if frames and frames[0][1] < first:  # a silence before these characters ended it: it came from who sent before
            self._take(tuple(frame for frame in frames if frame[1] < first))
            frames = tuple(frame for frame in frames if frame[1] >= first)
        self._source = source
        self._deaf = deaf
        if frames:
            self._take(frames)
        due = self._framer.quiet_until
        if due is not None and not self._armed:
            self._arm(due)

    def _arm(self, due: int) -> None:
        """Look again when it has been quiet up to `due`: with others, when it has been so at the farthest of them."""
        self._armed = True
        self._kernel.at_or_now(due if self._source is None else due + self._line.span, self._quiet)

    def _quiet(self, _: object) -> None:
        framer, line = self._framer, self._line
        due = framer.quiet_until
        # on the fast path only a burst that began before this was quiet can still belong to it
        if line.exact_groups or (line.under_way and due is not None and line.begun_at < due):
            if self._more_comes():
                return
            due = framer.quiet_until
        if due is None:
            self._armed = False
            return
        if due + (0 if self._source is None else line.span) > self._kernel.now:
            self._arm(due)
            return
        self._armed = False
        self._take(framer.elapsed(self._kernel.now))

    def _more_comes(self) -> bool:
        """Whether a start edge came before the silence was long enough; then look again when its character is there.

        If it does come to a character, the framer is told the gap; otherwise the silence goes on.
        """
        station = self._ports[0].station
        self._line.catch_up(station)
        due = self._framer.quiet_until
        if due is None or due > self._kernel.now:
            return False
        coming = self._line.coming(station)
        if coming is None or coming[0] >= due:
            return False
        self._kernel.at(max(coming[1], self._kernel.now) + 1, self._quiet)
        return True

    def _take(self, frames: Frames) -> None:
        source, deaf = self._source, self._deaf
        for data, at, flaw in frames:
            request = None if flaw else self._decode(data)
            if request is None:
                delay = 0 if source is None else self._ports[0].station.delays[source.number]
                self._refuse(data, at + delay, flaw)
                continue
            ports = self._by_id.get(request.id)
            if ports is None:
                if request.id != self._protocol.broadcast:
                    continue
                ports = self._live
            for port in ports:
                if port.station is not deaf:
                    port.asked(request, at if source is None else at + port.station.delays[source.number])

    def _decode(self, data: bytes) -> Request | None:
        decoded = self._decoded
        if data in decoded:
            return decoded[data]
        if len(decoded) >= _DECODED:
            decoded.clear()
        request = decoded[data] = self._protocol.decode_request(data)
        return request

    def _refuse(self, data: bytes, at: int, flaw: str) -> None:
        if self._live:
            self._emit((FRAME, self._line.number, self._live[0].number, at, flaw or "check", data))

    def fork(self, station: Station, blank: bool) -> Hearing:
        framer = self._framer.fork(0 if self._source is None else station.delays[self._source.number])
        if blank:
            framer.clear()
        ports = [port for port in self._ports if port.station is station]
        other = Hearing(self._kernel, self._line, self._protocol, framer, self._emit, ports)
        due = framer.quiet_until
        if due is not None:
            other._arm(due)
        return other

    def leave(self, station: Station) -> None:
        """This station hears with a fork from now on."""
        self._ports = [port for port in self._ports if port.station is not station]
        self.enlist()

    def join(self, other: Listener) -> None:
        """The cameras that heard with another such hearing, which holds nothing, hear with this one."""
        assert isinstance(other, Hearing)
        self._ports = sorted(self._ports + other._ports, key=lambda port: port.station.number)
        self.enlist()

    def tune(self, setting: Setting) -> None:
        """Its cameras are set otherwise: what it held is lost, and silences are as long as they are now."""
        self._framer = self._protocol.wire_framer(float(setting.baud), setting.char, setting.tail)

    def clear(self) -> None:
        self._framer.clear()
        self._deaf = self._source = None

    def stop(self, held: int) -> int:
        return 0

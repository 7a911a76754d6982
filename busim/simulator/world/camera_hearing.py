"""The hearing of cameras on a line, shared by cameras set alike.

Every camera's parser sees all the traffic. Cameras with one setting see the same, so one framer and one decoder serve
them all. A camera that hears something else (a collision, its own setting) gets a fork.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from busim.protocols import BusProtocol, Frames, Request, SilenceFramer, WireFramer
from busim.recording.trace import FRAME, Emit
from busim.simulator.bus import Burst, Line, Listener, Setting, Station
from busim.simulator.kernel import Kernel
from busim.simulator.world.camera_ports import CameraPort, Roll

_DECODED: Final = 1024  # different frames whose decoding a hearing keeps


class Hearing(Roll):
    """Cuts the characters heard by one receiver group into requests."""

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
        "_looking",
        "_ports",
        "_protocol",
        "_source",
    )

    def __init__(
        self, kernel: Kernel, line: Line, protocol: BusProtocol, framer: WireFramer, emit: Emit, ports: list[CameraPort]
    ) -> None:
        super().__init__()
        self._kernel = kernel
        self._line = line
        self._protocol = protocol
        self._framer = framer
        self.stops = not isinstance(framer, SilenceFramer)
        self.shows = False
        self._emit = emit
        self._armed = False
        self._looking: Callable[[object], None] = self._quiet  # bound once
        self._deaf: Station | None = None
        self._source: Station | None = None
        self._ports = ports
        # Decoded frames: the same few polls come thousands of times, and equal bytes mean the same.
        self._decoded: dict[bytes, Request | None] = {}
        self._live: list[CameraPort] = []
        self._by_id: dict[int, list[CameraPort]] = {}
        self.enlist()

    def add(self, port: CameraPort) -> None:
        """Add a camera to the group."""
        self._ports.append(port)
        self.enlist()

    def enlist(self) -> None:
        """Find again the cameras that hear, and their IDs."""
        self._live = [port for port in self._ports if port.hears]
        self._by_id = {}
        for port in self._live:
            for bus_id in (port.camera.bus_id,) if port.answers_to is None else port.answers_to:
                self._by_id.setdefault(bus_id, []).append(port)

    @property
    def quiet_until(self) -> int | None:
        """When its held bytes end by silence, at the place of their sender (ns)."""
        return self._framer.quiet_until

    @property
    def fresh(self) -> bool:
        """Holds nothing, or a frame that ends at this very nanosecond, whichever event of it comes first."""
        due = self._framer.quiet_until
        return due is None or due <= self._kernel.now

    def heard(
        self, data: bytes, first: int, last: int, flags: int, source: Station | None, deaf: Station | None
    ) -> None:
        frames = self._framer.feed(data, first, last, flags)
        if frames and frames[0][1] < first:  # a silence ended it: it came from the previous sender
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
        """Look again when it has been quiet up to `due`; in a group, quiet at the farthest camera."""
        self._armed = True
        self._kernel.at_heard(due if self._source is None else due + self._line.span, self._looking)

    def _quiet(self, _: object) -> None:
        framer, line = self._framer, self._line
        due = framer.quiet_until
        # On the fast path only a burst that began before this silence can still belong to it.
        if line.exact_groups or (line.traffic.under_way and due is not None and line.traffic.begun_at < due):
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
        """Whether a start edge came before the silence was long enough. Then look again at the end of its character.

        If a character results, the framer gets the gap; otherwise the silence goes on.
        """
        station = self._ports[0].station
        self._line.catch_up(station)
        due = self._framer.quiet_until
        if due is None or due > self._kernel.now:
            return False
        coming = self._line.coming(station)
        if coming is None or coming[0] >= due:
            return False
        self._kernel.at(max(coming[1], self._kernel.now) + 1, self._looking)
        return True

    def _take(self, frames: Frames) -> None:
        source, deaf = self._source, self._deaf
        for data, at, flaw in frames:
            request = None if flaw else self._decode(data)
            if request is None:
                delay = 0 if source is None else self._ports[0].station.delays[source.number]
                self._refuse(data, at + delay, flaw)
                continue
            ports = self._by_id.get(request.address)
            if ports is None:
                if request.address != self._protocol.broadcast:
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
        for port in self._live:
            if port.station is not self._deaf:
                for told in port.spoiled:
                    told(at)
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

    def unite(self, other: Listener) -> None:
        """The cameras of another such hearing, which holds nothing, hear with this one."""
        assert isinstance(other, Hearing)
        self._ports = sorted(self._ports + other._ports, key=lambda port: port.station.number)
        self.enlist()

    def tune(self, setting: Setting) -> None:
        """Its cameras have another setting: held bytes are lost, and silences have the new length."""
        self._framer = self._protocol.wire_framer(float(setting.baud), setting.char, setting.tail)

    def clear(self) -> None:
        self._framer.clear()
        self._deaf = self._source = None

    def stop(self, burst: Burst, held: int, delay: int) -> int:
        """A frame that ends by its bytes may end before its burst does, and is then answered before that."""
        coming = burst.data[held:]
        first, last = burst.sampled(held + 1) + delay, burst.whole + delay
        for _, at, _ in self._framer.fork(0).feed(coming, first, last, 0):
            if first <= at < last:
                return 1 + (2 * (at - first) * (len(coming) - 1) + last - first) // (2 * (last - first))
        return 0

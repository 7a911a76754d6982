"""Played masters at their place: on the line itself, or as a client of a converter."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Final, Protocol

from busim.protocols import BusProtocol, Reply, Request
from busim.recording.trace import EXCHANGE, Emit
from busim.simulator.bus import Burst, Line, Listener, Station
from busim.simulator.kernel import Kernel, Stream
from busim.simulator.masters import Attempt, Master, Step, Task
from busim.simulator.world.camera_ports import CameraPort

_DECODED: Final = 256  # latest replies that it knows as whole: the same few polls mostly get the same values


class MasterPort(Listener):
    """The common part of both: alarms, and exchange records. `cameras`: its cameras by name."""

    behind: object = None  # the converter through which it asks, whatever connects it to that

    def __init__(
        self, kernel: Kernel, line: Line, number: int, cameras: dict[str, CameraPort], numbers: dict[str, int],
        emit: Emit,
    ) -> None:  # fmt: skip
        super().__init__()
        self._kernel = kernel
        self._line = line
        self._number = number
        self._cameras = cameras
        self._numbers = numbers
        self._emit = emit
        self._due = 0
        self._alarms: list[int] = []  # pending, the next one last: each was set before those ahead of it
        self._exact_before = 0
        self._stalled = -1  # ns: until then its computer stands still
        self._ringing: Callable[[object], None] = self._run  # bound once
        self.master: Master | None = None

    def listen_closely(self) -> None:
        """From now on there may be other bytes right behind a reply."""

    def start(self) -> None:
        """Begin to poll (the master knows from when on)."""
        assert self.master is not None
        self.apply(self.master.step(self._kernel.now))

    def stall(self, until: int) -> None:
        """It does nothing before `until` ns."""
        self._stalled = max(self._stalled, until)

    def command(self, task: Task, *, absolute: bool = True) -> None:
        """An operator's move reaches the master now."""
        if self._kernel.now < self._stalled:
            self._kernel.at(self._stalled + 1, lambda _: self.command(task, absolute=absolute))
            return
        assert self.master is not None
        self._catch_up()
        self.apply(self.master.command(task, self._kernel.now, absolute=absolute))

    def _send(self, raw: bytes) -> None:
        raise NotImplementedError

    def apply(self, step: Step) -> None:
        """Carry out the master's wishes."""
        raw, wake = step
        if raw is not None:
            self._exact_before = self._line.traffic.exact_bursts
            self._send(raw)
        if wake is not None:
            self._due = wake
            if not self._alarms or wake < self._alarms[-1]:
                self._alarms.append(wake)
                self._kernel.at_or_now(wake, self._ringing)  # it may have learned late, and want something at once

    def _run(self, _: object) -> None:
        """The next alarm; it may belong to a time-out that no longer matters."""
        if self._kernel.now < self._stalled:
            self._kernel.at(self._stalled + 1, self._ringing)  # behind what came for it meanwhile
            return
        self._alarms.pop()
        if self._due > self._kernel.now:
            if not self._alarms or self._due < self._alarms[-1]:
                self._alarms.append(self._due)
                self._kernel.at(self._due, self._ringing)
            return
        assert self.master is not None
        self._catch_up()
        self.apply(self.master.step(self._kernel.now))

    def _catch_up(self) -> None:
        """Fetch arrived bytes first: bytes from before a request must not count as its answer."""

    def done(self, attempt: Attempt) -> None:
        """The master reports a finished attempt."""
        task, number, asked, sent, ended, free, outcome, _ = attempt
        target = task.target
        camera = self._cameras.get(target.name)
        read_at = camera.read_at(task.request, sent, ended) if camera is not None and outcome == "ok" else -1
        exact = 1 if self._line.traffic.exact_bursts != self._exact_before else 0
        self._emit(
            (
                EXCHANGE, self._line.number, self._number, self._numbers[target.name], target.address, task.kind,
                task.work, number, asked, sent, ended, free, outcome, read_at, exact,
            )
        )  # fmt: skip


class MasterOnLine(MasterPort):
    """A master with its own driver on the pair. `listen`: ns of quiet it waits for before it sends; `back_off`: mean ns
    that it then stays away from a busy line, drawn from `waits`."""

    station: Station
    protocol: BusProtocol
    _decode: Callable[[bytes, Request], Reply | None]
    listen = 0
    back_off = 0
    waits: Stream
    _over = 0  # finished attempts; a request that still waits for quiet is then dropped

    def _catch_up(self) -> None:
        self._line.catch_up(self.station)

    def _send(self, raw: bytes) -> None:
        if self.listen:
            now, clear = self._kernel.now, self._line.quiet_from(self.station) + self.listen
            if clear > now:
                again = now + self.waits.exponential(self.back_off) if self.back_off else clear
                self._kernel.at(again, self._try, (raw, self._over))
                return
        self._line.send(self.station, raw)

    def _try(self, waiting: tuple[bytes, int]) -> None:
        raw, over = waiting
        if over == self._over:
            self._send(raw)

    def done(self, attempt: Attempt) -> None:
        self._over += 1
        super().done(attempt)

    def heard(
        self, data: bytes, first: int, last: int, flags: int, source: Station | None, deaf: Station | None
    ) -> None:
        assert self.master is not None
        self.apply(self.master.heard(data, last + self.station.setting.tail, flagged=bool(flags)))

    def listen_closely(self) -> None:
        if not self.stops:
            self.stops = True
            self._decode = lru_cache(_DECODED)(self.protocol.decode_reply)

    def stop(self, burst: Burst, held: int, delay: int) -> int:
        """The reply that it waits for may end before its burst does, and is then taken before that."""
        if not self.stops:  # a burst that grows asks too
            return 0
        assert self.master is not None
        request, data = self.master.awaited, burst.data
        if request is None or burst.station is self.station or self._decode(data, request) is not None:
            return 0
        finder = self.protocol.stream_framer()
        finder.expect(request)
        for number in range(held, len(data)):
            if finder.feed(data[number : number + 1], 0) is not None:
                return number + 1 - held
        return 0


class Taker(Protocol):
    """The receiver of the master's bytes: the converter itself, or a connection to it."""

    def take(self, data: bytes, client: int = 0) -> None: ...


class MasterBehindConverter(MasterPort):
    """A master that is one of a converter's clients."""

    converter: Taker
    client = 0

    def _send(self, raw: bytes) -> None:
        self.converter.take(raw, self.client)

    def deliver(self, client: int, data: bytes) -> None:
        """Bytes from the converter."""
        assert self.master is not None
        self.apply(self.master.heard(data, self._kernel.now))

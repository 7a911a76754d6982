"""The sniffer: makes exchange records of requests from outside clients through a converter.

A played master reports its own exchanges; a real controller does not. So the sniffer reads the bytes that its converter
sends to the line and hears from it. A request begins an exchange, its sound reply ends it, and the next request ends an
unanswered one. If frames are cut by silence, a request without the silence before or after it has merged with other
bytes, and no camera can read it. The sniffer judges the wire only; it cannot know the controller's conclusions.
"""

from __future__ import annotations

from typing import Final

from busim.protocols import BusProtocol, Request
from busim.recording.trace import EXCHANGE, RAN_TOGETHER, Emit
from busim.simulator.bus import Line, Setting
from busim.simulator.converters import cut_whole
from busim.simulator.kernel import Kernel
from busim.simulator.world.camera_ports import CameraPort
from busim.simulator.world.converter_ports import ConverterPort

_GIVEN_UP: Final = 1_000_000_000  # ns after which an unanswered exchange counts as over
_KNOWN: Final = 1024  # different chunks whose requests it remembers


class _Chunk:
    """Bytes handed over at `at` ns; `start`: their place in the held bytes. `follows`: the driver was still sending, or
    had not been silent for long enough.
    """

    __slots__ = ("at", "follows", "start")

    def __init__(self, start: int, at: int, follows: bool) -> None:
        self.start = start
        self.at = at
        self.follows = follows


class Sniffer:
    """Watches one converter. `known`: bus ID to (number, name) of the planned camera."""

    def __init__(
        self, kernel: Kernel, line: Line, protocol: BusProtocol, setting: Setting, number: int,
        known: dict[int, tuple[int, str]], cameras: dict[str, CameraPort], emit: Emit,
    ) -> None:  # fmt: skip
        self._kernel = kernel
        self._line = line
        self._protocol = protocol
        self._silence = protocol.silence(float(setting.baud))
        self._number = number
        self._known = known
        self._cameras = cameras
        self._emit = emit
        self._finder = protocol.stream_framer()
        self._held = b""
        self._chunks: list[_Chunk] = []  # the chunks of `held`
        # Requests of chunks: the same few polls come thousands of times, and equal bytes ask the same.
        self._asked: dict[bytes, tuple[list[tuple[Request, int]], bytes]] = {}
        self._request: Request | None = None
        self._sent = 0
        self._who = (0, "")
        self._flagged = False
        self._together = False
        self._exact_before = 0

    def watch(self, port: ConverterPort) -> None:
        """Receive the bytes that this converter sends and hears."""
        self._port = port
        port.sent, port.replied = self.sent, self.replied

    def sent(self, data: bytes, at: int) -> None:
        """Bytes reach the driver at `at` ns."""
        if self._held and at - self._chunks[0].at > _GIVEN_UP:
            self._held = b""
            self._chunks.clear()
        follows = self._silence > 0 and at < self._port.out_at() + self._silence
        self._together |= follows
        self._chunks.append(_Chunk(len(self._held), at, follows))
        data = self._held + data if self._held else data
        found, self._held = self._cut(data)
        for request, start in found:
            self._begin(request, start, at)
        if found and self._held:
            self._together |= self._silence > 0
        if not self._held:
            self._chunks.clear()
            return
        begin = len(data) - len(self._held)
        if begin:
            del self._chunks[: self._chunk_of(begin)]
            for each in self._chunks:
                each.start = max(0, each.start - begin)

    def _chunk_of(self, start: int) -> int:
        """The number of the chunk with the byte at `start`."""
        chunks = self._chunks
        number = len(chunks) - 1
        while number and chunks[number].start > start:
            number -= 1
        return number

    def _begin(self, request: Request, start: int, at: int) -> None:
        """A request is complete at `at` ns; its first byte stands at `start`."""
        chunk = self._chunks[self._chunk_of(start)]
        together = self._silence > 0 and (chunk.follows or start > chunk.start)
        self._together |= together
        self._end(at, "")
        self._request = request
        self._who = self._camera_of(request.address)
        self._sent = chunk.at
        self._flagged = False
        self._together = together
        self._exact_before = self._line.traffic.exact_bursts
        self._finder.expect(request)
        if request.address == self._protocol.broadcast:
            self._end(at, "unanswered")

    def _cut(self, data: bytes) -> tuple[list[tuple[Request, int]], bytes]:
        """The requests in these bytes, each with the place of its first byte, and the rest."""
        known = self._asked.get(data)
        if known is None:
            if len(self._asked) >= _KNOWN:
                self._asked.clear()
            whole, rest = cut_whole(self._protocol, data)
            found, place = [], 0
            for raw, request in whole:
                start = data.index(raw, place)
                place = start + len(raw)
                found.append((request, start))
            known = self._asked[data] = found, rest
        return known

    def replied(self, data: bytes, last: int, flags: int) -> None:
        """Characters came from the line, the last of them at `last` ns."""
        if self._request is None:
            return
        if flags:
            self._flagged = True
            return
        reply = self._finder.feed(data, last)
        if reply is not None:
            self._end(last, "refused" if reply.refused else "ok")

    def _camera_of(self, bus_id: int) -> tuple[int, str]:
        """Number and name of the camera that has a bus ID now: IDs change during a run."""
        number, name = self._known.get(bus_id, (0, ""))
        port = self._cameras.get(name)
        if (port is None and number) or (port is not None and port.camera.bus_id == bus_id):
            return number, name
        for name, port in self._cameras.items():
            if port.camera.bus_id == bus_id and port.station in self._line.stations:
                self._known[bus_id] = port.number, name
                return self._known[bus_id]
        return 0, ""

    def _end(self, at: int, outcome: str) -> None:
        request = self._request
        if request is None:
            return
        self._request = None
        ended = at if outcome else min(at, self._sent + _GIVEN_UP)
        if not outcome:
            silent = RAN_TOGETHER if self._together else "time-out"
            outcome = "damaged" if self._flagged or self._finder.held else silent
        number, name = self._who
        camera = self._cameras.get(name)
        read_at = camera.read_at(request, self._sent, ended) if camera is not None and outcome == "ok" else -1
        exact = 1 if self._line.traffic.exact_bursts != self._exact_before else 0
        self._emit(
            (
                EXCHANGE, self._line.number, self._number, number, request.address, "foreign", _work(request), 1,
                self._sent, self._sent, ended, ended + self._silence, outcome, read_at, exact,
            )
        )  # fmt: skip


def _work(request: Request) -> str:
    """The request in words; for a read also its keys, since each value is as old as its own last read."""
    if request.verb != "read":
        return request.verb
    last = request.key + request.size - 1
    return f"read {request.key}" if last <= request.key else f"read {request.key}..{last}"

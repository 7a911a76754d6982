"""The witness: makes exchange records of what clients from outside ask through a converter.

A played master tells of its own exchanges. A real controller does not, so the witness looks at what its converter sends
to the line and hears from it: a request begins an exchange, the sound reply to it ends it, the next request ends one
that was not answered. It judges the wire only; what the controller made of the bytes it cannot know.
"""

from __future__ import annotations

from busim.protocols import BusProtocol, Request
from busim.recording.trace import EXCHANGE, Emit
from busim.simulator.bus import Line, Setting
from busim.simulator.kernel import Kernel
from busim.simulator.world.camera_ports import CameraPort
from busim.simulator.world.converter_ports import ConverterPort

_GIVEN_UP = 1_000_000_000  # ns after which an unanswered exchange counts as over
_KNOWN = 1024  # different chunks of which it keeps what they ask


class Sniffer:
    """Watches one converter. `known`: bus ID to (number, name) of the camera that the plan has there."""

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
        self._held_since = 0
        # What chunks ask: polls are the same few thousands of times, and equal bytes ask the same.
        self._asked: dict[bytes, tuple[list[Request], bytes]] = {}
        self._request: Request | None = None
        self._sent = 0
        self._who = (0, "")
        self._flagged = False
        self._exact_before = 0

    def watch(self, port: ConverterPort) -> None:
        """Be told what this converter sends and hears."""
        port.sent, port.replied = self.sent, self.replied

    def sent(self, data: bytes, at: int) -> None:
        """Bytes were handed to the driver at `at` ns."""
        if not self._held or at - self._held_since > _GIVEN_UP:
            self._held, self._held_since = b"", at
        requests, self._held = self._cut(self._held + data if self._held else data)
        for request in requests:
            self._end(at, "")
            self._request = request
            self._who = self._camera_of(request.id)
            self._sent = self._held_since
            self._held_since = at
            self._flagged = False
            self._exact_before = self._line.exact_bursts
            self._finder.expect(request)
            if request.id == self._protocol.broadcast:
                self._end(at, "unanswered")

    def _cut(self, data: bytes) -> tuple[list[Request], bytes]:
        known = self._asked.get(data)
        if known is None:
            if len(self._asked) >= _KNOWN:
                self._asked.clear()
            known = self._asked[data] = self._protocol.cut_requests(data)
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

    def _camera_of(self, id: int) -> tuple[int, str]:
        """Number and name of the camera that has a bus ID now: they change while it runs."""
        number, name = self._known.get(id, (0, ""))
        port = self._cameras.get(name)
        if (port is None and number) or (port is not None and port.camera.id == id):
            return number, name
        for name, port in self._cameras.items():
            if port.camera.id == id and port.station in self._line.stations:
                self._known[id] = port.number, name
                return self._known[id]
        return 0, ""

    def _end(self, at: int, outcome: str) -> None:
        request = self._request
        if request is None:
            return
        self._request = None
        ended = at if outcome else min(at, self._sent + _GIVEN_UP)
        outcome = outcome or ("damaged" if self._flagged or self._finder.held else "time-out")
        number, name = self._who
        camera = self._cameras.get(name)
        read_at = camera.read_at(request, self._sent, ended) if camera is not None and outcome == "ok" else -1
        exact = 1 if self._line.exact_bursts != self._exact_before else 0
        self._emit(
            (
                EXCHANGE, self._line.number, self._number, number, request.id, "foreign", _work(request), 1, self._sent,
                self._sent, ended, ended + self._silence, outcome, read_at, exact,
            )
        )  # fmt: skip


def _work(request: Request) -> str:
    """What was asked; of a read also the keys, for each value is as old as its own last read."""
    if request.verb != "read":
        return request.verb
    last = request.key + request.size - 1
    return f"read {request.key}" if last <= request.key else f"read {request.key}..{last}"

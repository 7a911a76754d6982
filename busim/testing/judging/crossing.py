"""Replies that cross with a request behind a converter.

A reply to an earlier request, or to another client, leaves the converter while the next request is on its way to it. If
it fits that request too, no controller can tell it from the answer, unless the protocol numbers its requests. Judges
hold nothing against a controller that takes it.
"""

from __future__ import annotations

from typing import Any

from busim.protocols import OTHER, Request
from busim.testing.judging.events import Answered, Asked
from busim.testing.judging.ground import Ground


class Crossing:
    """Compares each request of the controller with the last reply before it. Times in ns."""

    def __init__(self, ground: Ground) -> None:
        self._lines = ground.lines
        self._ports = ground.port_lines
        self._last: dict[int, tuple[int, bytes]] = {}  # line -> end of the last burst of a camera, and its bytes
        self._met: dict[int, int] = {}  # line -> instant of the last request that met such a reply
        self._unseen: set[int] = set()  # lines whose last such request has not been on the wire

    def answered(self, event: Answered) -> None:
        self._last[event.line] = event.end, event.data

    def entered(self, record: tuple[Any, ...]) -> None:
        """An input record: the controller sends to a converter, before the request is on the wire."""
        _, at, port, _, what, data = record
        line = self._ports.get(port)
        if what != "bytes" or line not in self._last:
            return
        way = self._lines[line].way
        if self._last[line][0] + way.packing + way.latency > at:
            request = self._lines[line].protocol.decode_request(data)
            if request is not None and request is not OTHER and self._fits(line, request):
                self._met[line] = at
                self._unseen.add(line)

    def asked(self, event: Asked) -> bool:
        """A request of the controller is on the wire. Returns whether it met such a reply."""
        line = event.line
        if line in self._unseen:
            self._unseen.discard(line)
            return True
        ground = self._lines[line]
        if not ground.packet or line not in self._last:
            return False
        end, _ = self._last[line]
        if ground.known(end, end) <= event.start or not self._fits(line, event.request):
            return False
        self._met[line] = event.start
        return True

    def met(self, line: int, since: int, until: int) -> bool:
        """Whether the last request that met such a reply went out between two instants."""
        return since <= self._met.get(line, -1) <= until

    def _fits(self, line: int, request: Request) -> bool:
        finder = self._lines[line].protocol.stream_framer()  # there may be rubbish around the reply
        finder.expect(request)
        end, data = self._last[line]
        return finder.feed(data, end) is not None

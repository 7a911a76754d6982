"""Arbitration: a converter that serves its clients' requests one after the other, and gives each client its own reply.

Such a box understands the protocol of the line. It cuts whole requests from each client's bytes, queues them in the
order of arrival, and sends the next one after the reply to the last, or after its time-out. It drops bytes that are no
request, and bytes from the line that nobody asked for.
"""

from __future__ import annotations

from collections import deque
from typing import Final

from busim.protocols import BusProtocol, Request

_MOST: Final = 64  # requests that wait
_STRETCH: Final = 512  # bytes within which any request ends


class Arbiter:
    """`time_out`: ns from the end of a request until it counts as unanswered; `silence`: ns between two frames.

    `owner`: the client whose request is on the line, None without one; `due`: when to call `next` again without new
    bytes, ns.
    """

    def __init__(self, protocol: BusProtocol, time_out: int, silence: int) -> None:
        self.owner: int | None = None
        self.due: int | None = None
        self._protocol = protocol
        self._time_out = time_out
        self._silence = silence
        self._finder = protocol.stream_framer()
        self._held: dict[int, bytes] = {}
        self._queue: deque[tuple[int, bytes, Request]] = deque()
        self._asked: Request | None = None
        self._free_at = 0

    def take(self, client: int, data: bytes) -> int:
        """Take bytes of a client. Returns the number of requests lost because too many wait."""
        found, self._held[client] = cut_whole(self._protocol, self._held.get(client, b"") + data)
        room = _MOST - len(self._queue)
        self._queue.extend((client, raw, request) for raw, request in found[:room])
        return max(0, len(found) - room)

    def leave(self, client: int) -> None:
        """A client has gone; its waiting requests are dropped."""
        self._held.pop(client, None)
        self._queue = deque(entry for entry in self._queue if entry[0] != client)
        if self.owner == client:
            self.owner = None

    def clear(self) -> None:
        """Forget every request: waiting, incomplete, and on the line."""
        self._held.clear()
        self._queue.clear()
        self._asked = self.owner = self.due = None

    def next(self, now: int) -> bytes:
        """The request to send at `now` ns; empty: none, or not yet (then `due` says when to call again)."""
        if self._asked is not None or not self._queue:
            return b""
        if now < self._free_at:
            self.due = self._free_at
            return b""
        self.owner, raw, self._asked = self._queue.popleft()
        return raw

    def sent(self, out: int) -> None:
        """The driver has the request and will have sent it at `out` ns."""
        request = self._asked
        assert request is not None
        if request.address == self._protocol.broadcast and not self._protocol.answers_broadcast:
            self._over(out)
            return
        self._finder.expect(request)
        self.due = out + self._time_out

    def heard(self, data: bytes, end: int) -> bool:
        """Characters from the line, over at `end` ns. Returns True if they complete the reply."""
        if self._asked is None or self._finder.feed(data, end) is None:
            return False
        self._over(end)
        return True

    def elapsed(self, now: int) -> bool:
        """It is `now` ns. Returns True if the request on the line has timed out."""
        if self.due is None or now < self.due:
            return False
        self.due = None
        if self._asked is None:
            return False
        self._over(now)
        return True

    def _over(self, at: int) -> None:
        self._asked = None
        self._free_at = at + self._silence
        self.due = self._free_at if self._queue else None


def cut_whole(protocol: BusProtocol, data: bytes) -> tuple[list[tuple[bytes, Request]], bytes]:
    """The whole requests in a stream, each with its own bytes (junk before it removed), and the rest."""
    requests, rest = protocol.cut_requests(data)
    found = []
    start = 0
    for request in requests:
        end = _end(protocol, data, start) if len(requests) > 1 else len(data) - len(rest)
        found.append((_bare(protocol, data[start:end]), request))
        start = end
    return found, rest


def _end(protocol: BusProtocol, data: bytes, start: int) -> int:
    """The end of the first request from `start` on."""
    low, high = start + 1, min(len(data), start + _STRETCH)
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if protocol.cut_requests(data[start:middle])[0] else (middle + 1, high)
    return low


def _bare(protocol: BusProtocol, data: bytes) -> bytes:
    """The request at the end of these bytes, without anything before it."""
    for start in range(len(data) - 1, 0, -1):
        request = protocol.decode_request(data[start:])
        if request is not None and request.address >= 0:
            return data[start:]
    return data

"""Arbitration: a converter that serves its clients' requests one after the other and gives each reply to who asked.

Such a box understands what is spoken on the line. It cuts whole requests from what each client sends, lets them queue
in the order of arrival, and sends the next one when the reply to the one before has come or its time is up. What is no
request is dropped, and so is what comes from the line when nobody has asked.
"""

from __future__ import annotations

from collections import deque

from busim.protocols import BusProtocol, Request

_MOST = 64  # requests that wait
_STRETCH = 512  # bytes in which one request surely ends


class Arbiter:
    """`time_out`: ns from when a request has left until it counts as not answered; `silence`: ns between two frames.

    `owner`: whose request is on the line, None for nobody's; `due`: when to ask again although nothing came, ns.
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
        """Bytes of a client; how many requests were lost because too many wait."""
        found, self._held[client] = cut_whole(self._protocol, self._held.get(client, b"") + data)
        room = _MOST - len(self._queue)
        self._queue.extend((client, raw, request) for raw, request in found[:room])
        return max(0, len(found) - room)

    def leave(self, client: int) -> None:
        """A client has gone; what it still wanted is nobody's business now."""
        self._held.pop(client, None)
        self._queue = deque(entry for entry in self._queue if entry[0] != client)
        if self.owner == client:
            self.owner = None

    def clear(self) -> None:
        """Forget every request: those that wait, those half there, and the one on the line."""
        self._held.clear()
        self._queue.clear()
        self._asked = self.owner = self.due = None

    def next(self, now: int) -> bytes:
        """The request to send at `now` ns; empty: none, or not yet (then `due` says when to ask again)."""
        if self._asked is not None or not self._queue:
            return b""
        if now < self._free_at:
            self.due = self._free_at
            return b""
        self.owner, raw, self._asked = self._queue.popleft()
        return raw

    def sent(self, out: int) -> None:
        """The request has been handed to the driver and will have left at `out` ns."""
        request = self._asked
        assert request is not None
        if request.id == self._protocol.broadcast and not self._protocol.answers_broadcast:
            self._over(out)
            return
        self._finder.expect(request)
        self.due = out + self._time_out

    def heard(self, data: bytes, end: int) -> bool:
        """Characters from the line, over at `end` ns; True: with them the reply is whole."""
        if self._asked is None or self._finder.feed(data, end) is None:
            return False
        self._over(end)
        return True

    def elapsed(self, now: int) -> bool:
        """It is `now` ns; True: the time of the request on the line is up."""
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
    """The whole requests in a stream, each with its own bytes (what stood before it cut away), and the rest."""
    requests, rest = protocol.cut_requests(data)
    found = []
    start = 0
    for request in requests:
        end = _end(protocol, data, start) if len(requests) > 1 else len(data) - len(rest)
        found.append((_bare(protocol, data[start:end]), request))
        start = end
    return found, rest


def _end(protocol: BusProtocol, data: bytes, start: int) -> int:
    """Where the first request from `start` on ends."""
    low, high = start + 1, min(len(data), start + _STRETCH)
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if protocol.cut_requests(data[start:middle])[0] else (middle + 1, high)
    return low


def _bare(protocol: BusProtocol, data: bytes) -> bytes:
    """The request that these bytes end with, without what stands before it."""
    for start in range(len(data) - 1, 0, -1):
        request = protocol.decode_request(data[start:])
        if request is not None and request.id >= 0:
            return data[start:]
    return data

"""Reads the bursts of one line as requests and answers, once for all judges."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from functools import lru_cache
from typing import Any, Final

from busim.protocols import OTHER, Reply, Request
from busim.testing.judging.events import Answered, Asked
from busim.testing.judging.ground import Ground, LineGround
from busim.testing.judging.verdict import Frame

_KEPT: Final = 12  # bursts that are remembered
_OPEN: Final = 4  # requests to one camera that may still be answered
_MOST: Final = 4096  # different bursts whose meaning is remembered

Burst = tuple[Any, ...]


class WireReader:
    """Takes burst records of one line in the order of their ends."""

    def __init__(
        self, ground: Ground, line: LineGround, asked: Callable[[Asked], None], answered: Callable[[Answered], None]
    ) -> None:
        self._ground = ground
        self._line = line
        self._cameras = line.cameras
        self._char = line.char
        self._asked = asked
        self._answered = answered
        self._kept: deque[tuple[Burst, Asked | Answered | None]] = deque(maxlen=_KEPT)
        self._decode = lru_cache(_MOST)(self._decoded)
        self._decode_reply = lru_cache(_MOST)(line.protocol.decode_reply)
        self._held: dict[int, bytes] = {}  # of a driver that sends a request in pieces
        self._begun: dict[int, int] = {}  # ns at which the first of them began
        self._last: Asked | None = None
        self._open: dict[int, deque[Asked]] = {}

    def take(self, burst: Burst) -> None:
        """One burst that is over."""
        _, line, driver, start, end, setting, data, exact = burst
        camera, last = self._cameras.get(driver), self._last
        if camera is None:
            self._take_requests(burst)
            return
        if exact and data:
            released = self._ground.released(end, setting)
            if released <= start:
                return  # nothing of it is on the pair
            if released < end:
                end = released
                burst = (*burst[:4], end, *burst[5:])
        if last is not None and last.request.address == camera.address:
            reply = self._decode_reply(data, last.request)
            if reply is not None:  # mostly a burst of a camera is this
                in_time = end <= last.start + last.response + self._char
                event = Answered(start, end, line, driver, last, reply, False, data, bool(exact), in_time)
                self._kept.append((burst, event))
                self._answered(event)
                return
        replies = self._late_replies_in(burst)
        self._kept.append((burst, replies[0]))
        for event in replies:
            self._answered(event)

    def _take_requests(self, burst: Burst) -> None:
        events = self._requests_in(burst)
        self._kept.append((burst, events[-1] if events else None))
        for event in events:
            self._last = event
            waiting = self._open.get(event.request.address)
            if waiting is None:
                waiting = self._open[event.request.address] = deque(maxlen=_OPEN)
            waiting.append(event)
            self._asked(event)

    def _requests_in(self, burst: Burst) -> list[Asked]:
        _, line, driver, start, end, _, data, exact = burst
        ours = driver in self._ground.ours
        whole = self._decode(data)
        if whole is not None:
            if self._held:
                self._held.pop(driver, None)
            request, camera, response, wait = whole
            return [Asked(start, end, line, driver, ours, camera, request, data, bool(exact), response, wait)]
        pieces = self._held.get(driver, b"")
        if not pieces:
            self._begun[driver] = start
        requests, self._held[driver] = self._line.protocol.cut_requests(pieces + data)
        found = []
        for one in requests:
            if one is OTHER:
                continue  # a frame of the protocol that is no request
            before, self._begun[driver] = start - self._begun[driver], start
            request, camera, response, wait = self._known(one)
            response -= before  # its sender has waited since its first piece
            found.append(Asked(start, end, line, driver, ours, camera, request, data, bool(exact), response, wait))
        return found

    def _decoded(self, data: bytes) -> tuple[Request, int, int, int] | None:
        """A request, its camera, its longest response and its longest wait; None if it is incomplete."""
        request = self._line.protocol.decode_request(data)
        return None if request is None or request is OTHER else self._known(request)

    def _known(self, request: Request) -> tuple[Request, int, int, int]:
        return request, self._line.by_address.get(request.address, 0), *self._line.times(request)

    def _late_replies_in(self, burst: Burst) -> list[Answered]:
        """The replies in a burst of a camera that is none to the last request alone. A late one may have others right
        after it.
        """
        _, line, camera, start, end, _, data, exact = burst
        last, address = self._last, self._cameras[camera].address
        found, tried = [], set()
        for asked in reversed(self._open.get(address, ())):
            if asked.request in tried:
                continue  # a reply to both: it counts for the later one
            tried.add(asked.request)
            reply = self._within(data, asked.request)
            if reply is not None:
                late, in_time = asked is not last, self._in_time(asked, end)
                found.append(Answered(start, end, line, camera, asked, reply, late, data, bool(exact), in_time))
        return found or [Answered(start, end, line, camera, None, None, False, data, bool(exact), False)]

    def _in_time(self, asked: Asked, end: int) -> bool:
        """Whether a reply whose last bit was on the wire at `end` came as early as the plan wants; a character more
        stands for propagation and for rounding.
        """
        return end <= asked.start + asked.response + self._line.char

    def _within(self, data: bytes, request: Request) -> Reply | None:
        """The reply to a request in a burst, with anything before or after it."""
        reply = self._line.protocol.decode_reply(data, request)
        if reply is None:
            finder = self._line.protocol.stream_framer()
            finder.expect(request)
            reply = finder.feed(data, 0)
        return reply

    def frames(self, until: int) -> tuple[Frame, ...]:
        """The last bursts that began by `until` ns, for a reader."""
        return tuple(
            Frame(burst[3], burst[4], self._ground.name(burst[2]), burst[6].hex(" "), self._meaning(event))
            for burst, event in self._kept
            if burst[3] <= until
        )

    def _meaning(self, event: Asked | Answered | None) -> str:
        if event is None:
            return "no sound frame"
        if isinstance(event, Asked):
            return f"request to {event.request.address}: {_said(event.request)}"
        if event.reply is None or event.asked is None:
            return "no reply to any of the last requests"
        late = ", late" if event.late else ""
        if event.reply.refused:
            return f"refusal {event.reply.refused} of {_said(event.asked.request)}{late}"
        values = ", ".join(map(str, event.reply.values))
        return f"reply of {event.reply.address} to {_said(event.asked.request)}: {values}{late}"


def _said(request: Request) -> str:
    values = " = " + ", ".join(map(str, request.values)) if request.values else ""
    return f"{request.verb} {request.size} from {request.key}{values}"

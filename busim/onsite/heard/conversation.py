"""Requests and replies out of the bytes of both directions: who asked, who answered, how long it took.

The bytes to the line and those from it are told apart, as a tap between controller and converter sees them. Requests
are cut from the first, replies found in the second by the protocol's own finders. The next request ends an exchange
without an answer, or `GIVEN_UP`. All instants are those at which the bytes passed the tap, in ns.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from busim.protocols import BusProtocol, Reply, Request
from busim.simulator.converters import cut_whole

GIVEN_UP = 1_000_000_000  # ns after which an unanswered exchange counts as over
_KNOWN = 1024  # different chunks whose requests are remembered: the same few polls come thousands of times
_LONGEST = 4096  # bytes of one chunk that are searched for the reply to the request before


class Exchange(NamedTuple):
    """A request `raw` and its outcome: ok, refused, time-out, damaged, or unanswered (a broadcast).

    `sent` and `asked`: when its first and its last byte passed; `first`: the first byte from the line after it, -1
    without one; `ended`: the reply was complete, or given up. `attempt`: 2 and more for the same request sent again
    directly after an unanswered one, which first passed at `wanted`.
    """

    request: Request
    raw: bytes
    wanted: int
    sent: int
    asked: int
    first: int
    ended: int
    outcome: str
    attempt: int
    reply: Reply | None


_new = tuple.__new__  # a named tuple's own constructor without one call


class Waiting:
    """A request that waits for its reply; the names are those of an exchange."""

    __slots__ = ("asked", "attempt", "first", "raw", "request", "sent", "wanted")

    def __init__(self, request: Request, raw: bytes, wanted: int, sent: int, asked: int, attempt: int) -> None:
        self.request, self.raw, self.wanted = request, raw, wanted
        self.sent, self.asked, self.attempt = sent, asked, attempt
        self.first = -1


class Conversation:
    """Takes the bytes of both directions in order of time, calls `emit` per exchange.

    `late` (if set) hears of a reply that came behind the next request, with the exchange that it belongs to. `stray`:
    bytes from the line that nobody asked for, with `others` requests of another master among them; `unread`: bytes to
    the line that are no request; `explained`: bytes of requests and sound replies, these at most as long as the
    protocol has them. `open`: the request that waits for its reply, with `length` bytes heard since; `before`: the last
    exchange that is over; `unfinished`: bytes to the line that may become a request.
    """

    def __init__(self, protocol: BusProtocol, emit: Callable[[Exchange], None]) -> None:
        self._protocol = protocol
        self._emit = emit
        self._finder = protocol.stream_framer()
        self._expecting = False  # whether the finder looks for the reply to the open request
        self.unfinished = b""
        self._since = 0
        self._known: dict[bytes, tuple[list[tuple[bytes, Request]], bytes]] = {}
        self.open: Waiting | None = None
        self.length = 0
        self.before: Exchange | None = None
        self.late: Callable[[Exchange, int], None] = lambda *_: None
        self.stray = 0
        self.unread = 0
        self.others = 0
        self.explained = 0

    @property
    def address(self) -> int | None:
        """The address of the request that waits for its reply; None without one."""
        return None if self.open is None else self.open.request.address

    @property
    def answered(self) -> Exchange | None:
        """The last exchange, if its reply came and nothing was heard since that is not over; else None."""
        before = self.before
        if self.open is not None or self.unfinished or before is None or before.reply is None:
            return None
        return before

    def sent(self, data: bytes, at: int, since: int = -1) -> None:
        """Bytes on their way to the line, complete at `at`; `since`: when their first one began, -1: unknown."""
        if self.unfinished and at - self._since > GIVEN_UP:
            self.unread += len(self.unfinished)
            self.unfinished = b""
        since = self._since if self.unfinished else at if since < 0 else since
        data = self.unfinished + data if self.unfinished else data
        found, rest = self._cut(data)
        self.unread += max(0, len(data) - sum(len(raw) for raw, _ in found) - len(rest))
        for raw, request in found:
            self.explained += len(raw)
            self._begin(request, raw, since, at)
        self.unfinished = rest
        self._since = at if found or not rest else since

    def _cut(self, data: bytes) -> tuple[list[tuple[bytes, Request]], bytes]:
        known = self._known.get(data)
        if known is None:
            if len(self._known) >= _KNOWN:
                self._known.clear()
            known = self._known[data] = cut_whole(self._protocol, data)
        return known

    def _begin(self, request: Request, raw: bytes, since: int, at: int) -> None:
        if self.open is not None:
            self._close(since, "")
        before = self.before
        attempt, wanted = 1, since
        if before is not None and before.reply is None and before.raw == raw and before.outcome != "unanswered":
            attempt, wanted = before.attempt + 1, before.wanted
        self.open = Waiting(request, raw, wanted, since, at, attempt)
        self._expecting = False
        self.length = 0
        if request.address == self._protocol.broadcast and not self._protocol.answers_broadcast:
            self._close(at, "unanswered")

    def ask(self, request: Request, raw: bytes, since: int, at: int) -> None:
        """A request on its way to the line, found already: its first byte passed at `since`, its last one at `at`."""
        self.explained += len(raw)
        self._begin(request, raw, since, at)

    def heard(self, data: bytes, at: int, since: int = -1) -> None:
        """Bytes that came from the line, complete at `at`; `since` as in `sent`."""
        asked = self.open
        if asked is None:
            self.stray += len(data)
            self._look_for_late(data, at)
            self._look_for_others(data)
            return
        if asked.first < 0:
            asked.first = at if since < 0 else max(since, asked.asked)
        if not self._expecting:  # most replies come whole and alone, and are never searched for
            self._finder.expect(asked.request)
            self._expecting = True
        reply = self._finder.feed(data, at)
        self.length += len(data)
        if reply is not None:
            self._replied(asked, reply, at)
        elif not self._finder.held:  # the finder dropped them
            self.stray += len(data)
        else:
            self._look_for_late(data, at)

    def answer(self, reply: Reply, length: int, at: int, since: int) -> None:
        """The reply to the open request, found already, of `length` bytes."""
        asked = self.open
        assert asked is not None
        if asked.first < 0:
            asked.first = since if since > asked.asked else asked.asked
        self.length += length
        self.explained += length
        self._close(at, "refused" if reply.refused else "ok", reply)

    def _replied(self, asked: Waiting, reply: Reply, at: int) -> None:
        length = self._protocol.reply_bytes(asked.request)
        self.explained += length if length < self.length else self.length
        self._close(at, "refused" if reply.refused else "ok", reply)

    def _look_for_late(self, data: bytes, at: int) -> None:
        """A reply to the request before this one shows that the controller's time-out is too short."""
        before = self.before
        if before is None or before.outcome != "time-out" or len(data) > _LONGEST:
            return
        reply = self._protocol.decode_reply(data, before.request)
        if reply is not None:
            self.before = before._replace(outcome="late")
            self.late(before, at)

    def _look_for_others(self, data: bytes) -> None:
        """A request that comes from the line is another master's."""
        again = self.before is not None and self.before.raw in data  # an echo, or a reply to a write that came twice
        if len(data) <= _LONGEST and not again:
            self.others += len(self._protocol.cut_requests(data)[0])

    def elapsed(self, at: int) -> None:
        """It is `at` ns: a request without an answer for too long is over."""
        if self.open is not None and at - self.open.asked > GIVEN_UP:
            self._close(at, "")

    def end(self, at: int) -> None:
        """Nothing more comes."""
        self._close(at, "")
        self.unread += len(self.unfinished)
        self.unfinished = b""

    def _close(self, at: int, outcome: str, reply: Reply | None = None) -> None:
        asked = self.open
        if asked is None:
            return
        self.open = None
        if not outcome:
            at = min(at, asked.asked + GIVEN_UP)
            outcome = "damaged" if self._expecting and self._finder.held else "time-out"
        done: Exchange = _new(
            Exchange,
            (
                asked.request, asked.raw, asked.wanted, asked.sent, asked.asked, asked.first, at, outcome,
                asked.attempt, reply,
            ),
        )  # fmt: skip
        self.before = done
        self._emit(done)

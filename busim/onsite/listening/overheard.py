"""A line overheard: requests and replies told apart in one stream, as a laptop on the pair hears them.

A request is what the protocol reads as one; the bytes behind it are searched for its reply first, since the reply to a
write may look like another request. Where a capture says which way bytes went, that is believed instead.

Nearly all traffic is clean: a request that came before, then its sound reply, each a piece of its own. Captures have
millions of such exchanges, so `_clean` takes them in one loop. All else goes through `_take`, piece by piece; a test
holds both to equal results.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from busim.onsite.captures import FROM_LINE, TO_LINE, Piece
from busim.onsite.heard import Conversation, Exchange
from busim.protocols import BusProtocol, Reply, Request
from busim.simulator.converters import cut_whole

_LONGEST = 1024  # bytes held that make no message
_KNOWN = 1024  # pieces whose requests are remembered
_PAUSE = 1_000_000_000  # ns of silence after which held bytes make no message

Emit = Callable[[Exchange], None]
Count = Callable[[int, int, int, int], None]  # takes `sent`, `asked`, `first` and `ended` of an exchange


class _Again:
    """A request that was answered. `count` takes its clean exchanges. `reply`: to the last of these, with the bytes
    `answer`: mostly nothing changes from one poll to the next.
    """

    __slots__ = ("answer", "count", "reply", "request")

    def __init__(self, request: Request, count: Count) -> None:
        self.request, self.count = request, count
        self.answer = b""
        self.reply: Reply | None = None


class Overheard:
    """Takes pieces in order of time, calls `emit` per exchange. `asked` hears the source of each request that has one.

    `again` is asked about each request that was answered: it may return what counts its clean exchanges from then on,
    in place of `emit`. `conversation` counts what was explained; `until`: ns of the last piece.
    """

    def __init__(
        self, protocol: BusProtocol, emit: Emit, asked: Callable[[str], None] = lambda _: None,
        again: Callable[[Exchange], Count | None] = lambda _: None,
    ) -> None:  # fmt: skip
        self.conversation = Conversation(protocol, emit)
        self.bytes = 0
        self.until = 0
        self._protocol = protocol
        self._decode = protocol.decode_reply
        self._asked = asked
        self._again = again
        self._held = b""
        self._since = 0
        self._known: dict[bytes, tuple[bytes, Request] | None] = {}
        self._alone: dict[bytes, Request] = {}  # pieces that are a request and nothing else
        self._counted: dict[bytes, _Again] = {}

    def take(self, pieces: Iterable[Piece]) -> int:
        """The next bytes. Returns the number of pieces."""
        pieces, number = iter(pieces), 0
        for piece in pieces:
            number += 1
            self._take(piece)
            done = self.conversation.answered
            if done is not None and not self._held:
                if done.raw not in self._counted and (count := self._again(done)) is not None:
                    if len(self._counted) >= _KNOWN:
                        self._counted.clear()
                    self._counted[done.raw] = _Again(done.request, count)
                number += self._clean(pieces)
        return number

    def _clean(self, pieces: Iterator[Piece]) -> int:
        """Take clean exchanges up to the first piece that belongs to none, and that piece. Returns their number."""
        counted, decode, asked_by = self._counted.get, self._decode, self._asked
        number = explained = sent = asked = 0
        raw, waiting, last, other = b"", None, None, None
        try:
            for piece in pieces:
                number += 1
                at, way, data, source, since = piece
                if waiting is None:
                    waiting = None if way == FROM_LINE else counted(data)
                    if waiting is None:
                        other = piece
                        break
                    if source:
                        asked_by(source)
                    raw, asked, sent = data, at, at if since < 0 else since
                    continue
                request, reply = waiting.request, waiting.reply
                if data != waiting.answer or way == TO_LINE:
                    reply = None if way == TO_LINE else decode(data, request)
                    if reply is None or reply.refused:
                        other = piece
                        break
                    waiting.answer, waiting.reply = data, reply
                first = at if since < 0 else since
                if first < asked:
                    first = asked
                waiting.count(sent, asked, first, at)
                last = request, raw, sent, sent, asked, first, at, "ok", 1, reply
                explained += len(raw) + len(data)
                waiting = None
        finally:  # also where the pieces end in an error: what came before it counts
            conversation = self.conversation
            conversation.explained += explained
            self.bytes += explained
            if last is not None:
                conversation.before = before = Exchange(*last)
                self.until = before.ended
            if waiting is not None:
                conversation.ask(waiting.request, raw, sent, asked)
                self.bytes += len(raw)
                self.until = asked
        if other is not None:
            self._take(other)
        return number

    def _take(self, piece: Piece) -> None:
        """The next bytes, whatever they are."""
        at, way, data, source, since = piece
        self.bytes += len(data)
        conversation = self.conversation
        if not self._held and not conversation.unfinished:  # mostly: a message, whole and alone
            waiting = conversation.open
            if way != TO_LINE and waiting is not None:
                if not conversation.length and (reply := self._decode(data, waiting.request)) is not None:
                    self.until = at
                    conversation.answer(reply, len(data), at, at if since < 0 else since)
                    return
            elif way != FROM_LINE and (known := self._alone.get(data)) is not None:
                self.until = at
                if source:
                    self._asked(source)
                conversation.ask(known, data, at if since < 0 else since, at)
                return
        if self._held and at - self.until > _PAUSE:
            self._noise(len(self._held))
        self.until = at
        if way == TO_LINE:
            before = conversation.open
            conversation.sent(data, at, since)
            now = conversation.open
            if now is not None and now is not before:
                if source:
                    self._asked(source)
                if now.raw == data:
                    self._keep(data, now.request)
            return
        if way == FROM_LINE:
            conversation.heard(data, at, since)
            return
        if not self._held:
            self._since = at if since < 0 else since
        self._held = self._held + data if self._held else data
        self._cut(at, source)

    def _cut(self, at: int, source: str) -> None:
        conversation = self.conversation
        while self._held:
            asked = conversation.open
            if asked is not None and (end := self._reply_end()):
                self._pass(self.conversation.heard, end, at)
                continue
            found = self._request()
            if found is None:
                if self._is_late():
                    self._pass(self.conversation.heard, len(self._held), at)
                break
            raw, request = found
            place = self._held.find(raw)
            if place > 0:
                self._pass(self.conversation.heard, place, at)
            if len(raw) == len(self._held):
                self._keep(raw, request)
            if source:
                self._asked(source)
            self._held = self._held[len(raw) :]
            conversation.ask(request, raw, self._since, at)
            self._since = at
        if len(self._held) > _LONGEST:
            self._noise(len(self._held) - _LONGEST // 2)

    def _pass(self, what: Callable[[bytes, int, int], None], count: int, at: int) -> None:
        what(self._held[:count], at, self._since)
        self._held = self._held[count:]
        self._since = at

    def _reply_end(self) -> int:
        """The end of the reply to the open request in the held bytes, 0 if it is not there."""
        asked = self.conversation.open
        assert asked is not None
        request, held = asked.request, self._held
        if not self._found(held, request):
            return 0
        low, high = 1, len(held)
        while low < high:
            middle = (low + high) // 2
            low, high = (low, middle) if self._found(held[:middle], request) else (middle + 1, high)
        return low

    def _is_late(self) -> bool:
        """Whether the held bytes answer the request before the open one."""
        before = self.conversation.before
        if before is None or before.outcome != "time-out":
            return False
        return self._protocol.decode_reply(self._held, before.request) is not None

    def _found(self, data: bytes, request: Request) -> bool:
        finder = self._protocol.stream_framer()
        finder.expect(request)
        return finder.feed(data, 0) is not None

    def _request(self) -> tuple[bytes, Request] | None:
        """The first request in the held bytes, with its own bytes."""
        held = self._held
        if held in self._known:
            return self._known[held]
        if len(self._known) >= _KNOWN:
            self._known.clear()
        whole, _ = cut_whole(self._protocol, held)
        found = self._known[held] = whole[0] if whole else None
        return found

    def _keep(self, data: bytes, request: Request) -> None:
        if len(self._alone) >= _KNOWN:
            self._alone.clear()
        self._alone[data] = request

    def _noise(self, count: int) -> None:
        self._pass(self.conversation.heard, count, self.until)

    def end(self) -> None:
        """Nothing more comes."""
        if self._held:
            self._noise(len(self._held))
        self.conversation.end(self.until)

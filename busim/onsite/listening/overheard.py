"""A line overheard: requests and replies told apart in one stream, as a laptop on the pair hears them.

A request is what the protocol reads as one; the bytes behind it are searched for its reply first, since the reply to a
write may look like another request. Where a capture says which way bytes went, that is believed instead.
"""

from __future__ import annotations

from collections.abc import Callable

from busim.onsite.captures import FROM_LINE, TO_LINE, Piece
from busim.onsite.heard import Conversation, Exchange
from busim.protocols import BusProtocol, Request
from busim.simulator.converters import cut_whole

_LONGEST = 1024  # bytes held that make no message
_KNOWN = 1024  # pieces whose requests are remembered
_PAUSE = 1_000_000_000  # ns of silence after which held bytes make no message


class Overheard:
    """Takes pieces in order of time, calls `emit` per exchange. `asked` hears of each request with its source.

    `conversation` counts what was explained.
    """

    def __init__(
        self, protocol: BusProtocol, emit: Callable[[Exchange], None],
        asked: Callable[[Request, int, str], None] = lambda *_: None,
    ) -> None:  # fmt: skip
        self.conversation = Conversation(protocol, emit)
        self.bytes = 0
        self._protocol = protocol
        self._decode = protocol.decode_reply
        self._asked = asked
        self._held = b""
        self._since = self._last = 0
        self._known: dict[bytes, tuple[bytes, Request] | None] = {}
        self._alone: dict[bytes, tuple[bytes, Request]] = {}  # pieces that are a request and nothing else

    def take(self, piece: Piece) -> None:
        """The next bytes."""
        at, way, data, source, since = piece
        self.bytes += len(data)
        conversation = self.conversation
        if not self._held and not conversation.unfinished:  # nearly always: a message, whole and alone
            waiting = conversation.open
            if way != TO_LINE and waiting is not None:
                if not conversation.length and (reply := self._decode(data, waiting.request)) is not None:
                    self._last = at
                    conversation.answer(reply, len(data), at, at if since < 0 else since)
                    return
            elif way != FROM_LINE and (known := self._alone.get(data)) is not None:
                self._last = at
                begun = at if since < 0 else since
                self._asked(known[1], begun, source)
                conversation.ask(known[1], known[0], begun, at)
                return
        if self._held and at - self._last > _PAUSE:
            self._noise(len(self._held))
        self._last = at
        if way == TO_LINE:
            before = conversation.open
            conversation.sent(data, at, since)
            now = conversation.open
            if now is not None and now is not before:
                self._asked(now.request, now.sent, source)
                if now.raw == data:
                    self._keep(data, (now.raw, now.request))
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
                self._keep(raw, found)
            self._asked(request, self._since, source)
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

    def _keep(self, data: bytes, found: tuple[bytes, Request]) -> None:
        if len(self._alone) >= _KNOWN:
            self._alone.clear()
        self._alone[data] = found

    def _noise(self, count: int) -> None:
        self._pass(self.conversation.heard, count, self._last)

    def end(self) -> None:
        """Nothing more comes."""
        if self._held:
            self._noise(len(self._held))
        self.conversation.end(self._last)

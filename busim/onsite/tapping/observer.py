"""The observer of a tap: records what passes, decodes it and keeps its figures, and never harms what passes.

Recording and decoding are apart: an error of ours in one switches that one off, says so once, and leaves the other and
the forwarding alone. A show goes on without figures; it does not go on without its controller.
"""

from __future__ import annotations

from collections.abc import Callable

from busim.onsite.heard.conversation import Conversation, Exchange
from busim.onsite.heard.line_trace import LineTrace
from busim.onsite.heard.watched import Watched
from busim.protocols import BusProtocol
from busim.simulator.converters import Telnet, plain_data


class Observer:
    """Hears of all that passes. Without `trace` it records nothing, without `protocol` it decodes nothing. `caution`
    gets errors of ours. `telnet`: RFC 2217 passes, whose commands are neither recorded nor decoded.
    """

    def __init__(
        self, protocol: BusProtocol | None, trace: LineTrace | None, caution: Callable[[str], None] = lambda _: None,
        *, telnet: bool = False,
    ) -> None:  # fmt: skip
        self.watched = Watched()
        self.passed = [0, 0]  # bytes to the line, and from it
        self.effects: dict[str, int] = {}  # hits of the tap's own faults
        self._caution = caution
        self._trace = trace
        self._telnets: tuple[Telnet, ...] = (Telnet(frozenset()), Telnet(frozenset())) if telnet else ()
        self.conversation = None if protocol is None else Conversation(protocol, self._exchange)
        if self.conversation is not None:
            self.conversation.late = self.watched.take_late

    def client(self, at: int, number: int, what: str) -> None:
        """A controller came (`open`) or went (`close`, `reset`)."""
        if what == "open" and self._telnets:
            self._telnets = (Telnet(frozenset()), Telnet(frozenset()))
        if self._trace is not None:
            self._recorded(self._trace.client, at, number, what)

    def sent(self, data: bytes, at: int) -> None:
        """Bytes went to the line at `at` ns."""
        if not (data := self._plain(0, data)):
            return
        self.passed[0] += len(data)
        if self._trace is not None:
            self._recorded(self._trace.sent, data, at)
        if self.conversation is not None:
            self._decoded(self.conversation.sent, data, at)

    def heard(self, data: bytes, at: int) -> None:
        """Bytes came from the line at `at` ns."""
        if not (data := self._plain(1, data)):
            return
        self.passed[1] += len(data)
        if self._trace is not None:
            address = None if self.conversation is None else self.conversation.address
            self._recorded(self._trace.heard, data, at, address)
        if self.conversation is not None:
            self._decoded(self.conversation.heard, data, at)

    def effect(self, at: int, fault: str) -> None:
        """A fault of the tap's own hit bytes from the line."""
        self.effects[fault] = self.effects.get(fault, 0) + 1
        if self._trace is not None:
            self._recorded(self._trace.effect, at, fault, "a piece from the line")

    def mark(self, at: int, text: str) -> None:
        """Set a mark in the trace."""
        if self._trace is not None:
            self._recorded(self._trace.mark, at, text)

    def elapsed(self, at: int) -> None:
        """It is `at` ns: hand over records, give up requests."""
        if self.conversation is not None:
            self._decoded(self.conversation.elapsed, at)
        if self._trace is not None:
            self._recorded(self._trace.flush, at)

    def end(self, at: int) -> None:
        """Nothing more passes; the trace is completed. Raises UserError if it cannot be written."""
        if self.conversation is not None:
            self._decoded(self.conversation.end, at)
        if self._trace is not None:
            self._trace.close(at)

    def _plain(self, way: int, data: bytes) -> bytes:
        """The bytes of the line among those of a connection."""
        return plain_data(self._telnets[way].receive(data)) if self._telnets else data

    def _exchange(self, one: Exchange) -> None:
        self.watched.take(one)
        if self._trace is not None:
            self._recorded(self._trace.exchange, one)

    def _decoded(self, what: Callable[..., None], *arguments: object) -> None:
        try:
            what(*arguments)
        except Exception as error:
            self.conversation = None
            self._caution(_said("decoding", error))

    def _recorded(self, what: Callable[..., None], *arguments: object) -> None:
        try:
            what(*arguments)
        except Exception as error:
            self._trace = None
            self._caution(_said("recording", error))


def _said(what: str, error: Exception) -> str:
    return (
        f"caution: {what} has ended after an error: {type(error).__name__}: {error}. Forwarding goes on; bytes pass as "
        "before."
    )

"""Telnet as a converter speaks it: bytes in, events out, at any split of the bytes.

Commands, options and sub-negotiations stand between the data and begin with IAC; an IAC in the data is doubled (RFC
854, RFC 855). We never begin a negotiation and answer only changes, so two ends cannot answer each other for ever (RFC
854, "General considerations"). Data is binary whether or not binary transmission was agreed: converters carry frames,
not text (common practice, no source).

Input is bounded: a sub-negotiation is kept up to a length, and each option is answered a limited number of times.
Nothing here raises.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, NamedTuple

SE: Final = 240  # this one and the next: RFC 854
NOP: Final = 241
BREAK: Final = 243
SB: Final = 250
WILL: Final = 251
WONT: Final = 252
DO: Final = 253
DONT: Final = 254
IAC: Final = 255
BINARY: Final = 0  # RFC 856
SUPPRESS_GO_AHEAD: Final = 3  # RFC 858
COM_PORT: Final = 44  # RFC 2217

_LONGEST: Final = 256  # bytes kept of a sub-negotiation; a longer one is ignored
_MOST_ANSWERS: Final = 16  # answers to one option on one side, per connection


class Data(NamedTuple):
    """Bytes for the line."""

    data: bytes


class Command(NamedTuple):
    """A command without an option, such as break (243) or no operation (241)."""

    code: int


class Agreed(NamedTuple):
    """An option was switched on or off: on our side (`ours`) or on theirs. `answer`: the bytes to send."""

    option: int
    ours: bool
    on: bool
    answer: bytes


class Refused(NamedTuple):
    """An option we do not have. `answer`: the bytes to send."""

    option: int
    answer: bytes


class Message(NamedTuple):
    """A sub-negotiation of an option, with doubled IACs undone."""

    option: int
    data: bytes


Event = Data | Command | Agreed | Refused | Message

_TEXT: Final = 0  # the kind of the next byte
_COMMAND: Final = 1
_OPTION: Final = 2
_INSIDE: Final = 3
_INSIDE_COMMAND: Final = 4


def escaped(data: bytes) -> bytes:
    """Data as sent in a Telnet stream."""
    return data.replace(b"\xff", b"\xff\xff")


def plain_data(events: Iterable[Event]) -> bytes:
    """The data among events."""
    return b"".join(event.data for event in events if isinstance(event, Data))


def message(option: int, data: bytes) -> bytes:
    """A sub-negotiation as sent in a Telnet stream."""
    return bytes((IAC, SB, option)) + escaped(data) + bytes((IAC, SE))


class Telnet:
    """One connection. `options`: those both sides may use."""

    def __init__(self, options: frozenset[int]) -> None:
        self._options = options
        self._on: set[tuple[bool, int]] = set()  # (ours, option)
        self._answers: dict[tuple[bool, int], int] = {}
        self._state = _TEXT
        self._verb = 0
        self._inside = bytearray()
        self._too_long = False

    def passes_over(self, data: bytes) -> bool:
        """Whether these bytes change nothing, because they extend a sub-negotiation that is too long already."""
        return self._state == _INSIDE and self._too_long and IAC not in data

    def receive(self, data: bytes) -> list[Event]:
        """The events in these bytes; data without anything between is one event."""
        events: list[Event] = []
        position, size = 0, len(data)
        text = bytearray()
        while position < size:
            if self._state in (_TEXT, _INSIDE):
                end = data.find(IAC, position)
                piece = data[position : end if end >= 0 else size]
                position += len(piece)
                if self._state == _TEXT:
                    text += piece
                else:
                    self._collect(piece)
                if end >= 0:
                    self._state += 1
                    position += 1
                continue
            event = self._step(data[position], text)
            position += 1
            if event is not None:
                if text:
                    events.append(Data(bytes(text)))
                    text.clear()
                events.append(event)
        if text:
            events.append(Data(bytes(text)))
        return events

    def _step(self, byte: int, text: bytearray) -> Event | None:
        """A byte after an IAC, or the option after a verb."""
        if self._state == _COMMAND:
            return self._command(byte, text)
        if self._state == _OPTION:
            self._state = _TEXT
            return self._negotiate(self._verb, byte)
        if byte == IAC:
            self._state = _INSIDE
            self._collect(b"\xff")
            return None
        self._state = _TEXT
        if byte == SE:
            return self._message()
        self._inside.clear()  # it broke off: a byte after IAC counts as outside (RFC 855 has nothing else inside)
        return self._command(byte, text)

    def _command(self, byte: int, text: bytearray) -> Event | None:
        self._state = _TEXT
        if byte == IAC:
            text.append(IAC)
        elif byte == SB:
            self._state = _INSIDE
            self._inside.clear()
            self._too_long = False
        elif WILL <= byte <= DONT:
            self._state = _OPTION
            self._verb = byte
        elif byte >= SE:
            return Command(byte)
        return None  # IAC and no command: both are dropped

    def _collect(self, piece: bytes) -> None:
        self._inside += piece[: _LONGEST + 1 - len(self._inside)]
        self._too_long = self._too_long or len(self._inside) > _LONGEST

    def _message(self) -> Message | None:
        inside = bytes(self._inside)
        self._inside.clear()
        return Message(inside[0], inside[1:]) if inside and not self._too_long else None

    def _negotiate(self, verb: int, option: int) -> Event | None:
        ours, on = verb in (DO, DONT), verb in (WILL, DO)
        side = ours, option
        if on == (side in self._on):
            return None
        answered = self._answers.get(side, 0)
        if answered >= _MOST_ANSWERS:
            return None
        self._answers[side] = answered + 1
        if option not in self._options:
            return Refused(option, bytes((IAC, WONT if ours else DONT, option)))
        if on:
            self._on.add(side)
            return Agreed(option, ours, True, bytes((IAC, WILL if ours else DO, option)))
        self._on.discard(side)
        return Agreed(option, ours, False, bytes((IAC, WONT if ours else DONT, option)))

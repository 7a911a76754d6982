"""COM port control over Telnet (RFC 2217), the server's side: a client's settings of a serial port, and the answers.

The client's commands are 0 to 12, the server's answers the same plus 100, each in a sub-negotiation of option 44. A
setting that the port cannot take is answered with its present value, and so is a question (value 0).

Boxes differ here, and a controller must be tried against each `manner`: `applies` obeys; `acknowledges` says yes to
every setting and leaves the port as it is; `answers-other` answers with the port's values and changes nothing; `silent`
agrees to the option and then says and does nothing. Break, DTR, RTS, purging and masks work for all but the silent one.

Flow control by lines or by XON/XOFF is answered as not offered: a pair has no such lines, and frames carry every byte
value. Nothing here raises, whatever a client sends.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import NamedTuple

from busim.foundation.errors import Defect
from busim.foundation.units import CharFormat
from busim.simulator.converters.telnet import (
    BINARY,
    COM_PORT,
    SUPPRESS_GO_AHEAD,
    Agreed,
    Data,
    Message,
    Refused,
    Telnet,
    escaped,
    message,
)

MANNERS = ("applies", "acknowledges", "answers-other", "silent")

SIGNATURE, BAUD, DATA_SIZE, PARITY, STOP_SIZE, CONTROL = range(6)
LINE_STATE, MODEM_STATE, SUSPEND, RESUME, LINE_MASK, MODEM_MASK, PURGE = range(6, 13)
ANSWER = 100

_PARITIES = "NOEMS"  # 1 to 5
_STOPS = {1: 2, 2: 4, 3: 3}  # code to half bits: 1, 2 and 1.5 stop bits
_STOP_CODES = {halves: code for code, halves in _STOPS.items()}
_NO_FLOW_OUT, _BREAK, _BREAK_ON, _BREAK_OFF, _NO_FLOW_IN = 1, 4, 5, 6, 14
_DTR, _DTR_OFF, _RTS, _RTS_OFF = 7, 9, 10, 12  # asked, off; on lies between
_FLOWS_OUT, _FLOWS_IN = (0, 1, 2, 3, 17, 19), (13, 14, 15, 16, 18)
_CARRIER, _DATA_SET_READY, _CLEAR_TO_SEND = 128, 32, 16  # of the modem state
LINES = _CARRIER | _DATA_SET_READY | _CLEAR_TO_SEND  # a pair has none of them; a box reports them as on
FASTEST = 10_000_000  # Bd
_MOST_RATES = 64  # different baud rates that one port accepts in a run


class Forward(NamedTuple):
    """Bytes for the line."""

    data: bytes


class Answer(NamedTuple):
    """Bytes for this client, exactly as sent on the connection."""

    data: bytes


class Apply(NamedTuple):
    """Set the port."""

    baud: Fraction
    format: CharFormat


class Break(NamedTuple):
    """Hold the pair at space, or release it."""

    on: bool


class Signal(NamedTuple):
    """Set one of the port's own lines, DTR or RTS."""

    name: str
    on: bool


class Purge(NamedTuple):
    """Drop the bytes that wait for the network, or for the line."""

    received: bool
    waiting: bool


class Hold(NamedTuple):
    """This client wants no data for now, or wants it again."""

    on: bool


Action = Forward | Answer | Apply | Break | Signal | Purge | Hold


class ComPort:
    """State that all clients of one port share: its setting, and its answers about it. `name` is its signature."""

    def __init__(self, baud: Fraction, format: CharFormat, manner: str, name: str = "busim") -> None:
        if manner not in MANNERS:
            raise Defect(f"no manner of answering: {manner!r}")
        self.manner = manner
        self.signature = name.encode()
        self._rates = {baud}
        self._at_first = baud, format
        self.restart()

    def restart(self) -> None:
        """Back to the initial state."""
        self.baud, self.format = self._at_first
        self.break_held_by: set[ComClient] = set()
        self.signals = {"dtr": True, "rts": True}
        self._claimed: dict[int, int] = {}  # settings that `acknowledges` has said yes to

    @property
    def breaking(self) -> bool:
        """Whether a client holds the pair at space."""
        return bool(self.break_held_by)

    def value(self, what: int) -> int:
        """The port's value as reported, in the code of RFC 2217."""
        if what in self._claimed:
            return self._claimed[what]
        if what == BAUD:
            return round(self.baud)
        if what == DATA_SIZE:
            return self.format.data_bits
        return _PARITIES.index(self.format.parity) + 1 if what == PARITY else _STOP_CODES[self.format.stop_halves]

    def ask(self, what: int, value: int) -> Apply | None:
        """A client sends a value (0: a question). Returns the new setting of the port; None: no change."""
        wanted = self._wanted(what, value) if value else None
        if wanted is None:
            return None
        if self.manner == "acknowledges":
            self._claimed[what] = value
            return None
        if self.manner != "applies" or wanted == (self.baud, self.format):
            return None
        self.baud, self.format = wanted
        self._rates.add(self.baud)
        return Apply(*wanted)

    def _wanted(self, what: int, value: int) -> tuple[Fraction, CharFormat] | None:
        """The setting that the client wants; None if the port has no such setting."""
        data_bits, parity, stop = self.format.data_bits, self.format.parity, self.format.stop_halves
        if what == BAUD:
            known = next((rate for rate in self._rates if round(rate) == value), None)
            new = len(self._rates) < _MOST_RATES and value <= FASTEST
            rate = known or (Fraction(value) if new else None)
            return None if rate is None else (rate, self.format)
        if what == DATA_SIZE and 5 <= value <= 8:
            data_bits = value
        elif what == PARITY and value <= len(_PARITIES):
            parity = _PARITIES[value - 1]
        elif what == STOP_SIZE and value in _STOPS:
            stop = _STOPS[value]
        else:
            return None
        return self.baud, CharFormat(data_bits, parity, stop)


class ComClient:
    """One client of a port: bytes from its connection in, actions out."""

    def __init__(self, port: ComPort) -> None:
        self.held = False
        self._port = port
        self._telnet = Telnet(frozenset((BINARY, SUPPRESS_GO_AHEAD, COM_PORT)))
        self._agreed = False
        self._line_mask = 0
        self._modem_mask = 255  # RFC 2217, SET-MODEMSTATE-MASK: the initial value
        self._commands: dict[int, Callable[[int, bytes], list[Action]]] = {
            SIGNATURE: self._signature, BAUD: self._set, DATA_SIZE: self._set, PARITY: self._set,
            STOP_SIZE: self._set, CONTROL: self._control, LINE_STATE: self._state, MODEM_STATE: self._state,
            SUSPEND: self._hold, RESUME: self._hold, LINE_MASK: self._mask, MODEM_MASK: self._mask, PURGE: self._purge,
        }  # fmt: skip

    def receive(self, data: bytes) -> list[Action]:
        """The actions that these bytes ask for, in order."""
        actions: list[Action] = []
        for event in self._telnet.receive(data):
            if isinstance(event, Data):
                actions.append(Forward(event.data))
            elif isinstance(event, Refused):
                actions.append(Answer(event.answer))
            elif isinstance(event, Agreed):
                actions.append(Answer(event.answer))
                actions += self._agree(event)
            elif isinstance(event, Message) and event.option == COM_PORT:
                actions += self._asked(event.data)
        return actions

    def passes_over(self, data: bytes) -> bool:
        """Whether these bytes change nothing, because they extend a sub-negotiation that is too long already."""
        return self._telnet.passes_over(data)

    def gone(self) -> list[Action]:
        """The client has left: release its break, unless another client holds it too."""
        port = self._port
        if self not in port.break_held_by:
            return []
        port.break_held_by.discard(self)
        return [] if port.breaking else [Break(False)]

    def wrap(self, data: bytes) -> bytes:
        """Bytes from the line as sent on the connection."""
        return escaped(data)

    def line_state(self, state: int) -> bytes:
        """The notice of a line state (16 break, 8 framing, 4 parity, 2 overrun); empty if nobody asked for it."""
        told = state & self._line_mask
        return _answer(LINE_STATE, told) if told and self._agreed and self._port.manner != "silent" else b""

    def _agree(self, event: Agreed) -> list[Action]:
        """When both sides first agree on the option, the client learns the state of the lines."""
        if event.option != COM_PORT or not event.on or self._agreed:
            return []
        self._agreed = True
        return self._state(MODEM_STATE, b"") if self._port.manner != "silent" else []

    def _asked(self, data: bytes) -> list[Action]:
        """A command of the client; before the option was agreed it does not count (RFC 2217, section 3)."""
        if not data or not self._agreed or self._port.manner == "silent":
            return []
        answer = self._commands.get(data[0])
        return answer(data[0], data[1:]) if answer is not None else []

    def _signature(self, what: int, data: bytes) -> list[Action]:
        if data:
            return []  # it tells us its own
        return [Answer(message(COM_PORT, bytes((ANSWER + what,)) + self._port.signature))]

    def _set(self, what: int, data: bytes) -> list[Action]:
        if len(data) != (4 if what == BAUD else 1):
            return []
        change = self._port.ask(what, int.from_bytes(data, "big"))
        answer = Answer(_answer(what, self._port.value(what), 4 if what == BAUD else 1))
        return [answer] if change is None else [change, answer]

    def _control(self, what: int, data: bytes) -> list[Action]:
        if len(data) != 1:
            return []
        port, value = self._port, data[0]
        actions: list[Action] = []
        if value in _FLOWS_OUT:
            value = _NO_FLOW_OUT
        elif value in _FLOWS_IN:
            value = _NO_FLOW_IN
        elif _BREAK <= value <= _BREAK_OFF:
            before = port.breaking
            if value == _BREAK_ON:
                port.break_held_by.add(self)
            elif value == _BREAK_OFF:  # the port has one break, so any client's release ends it
                port.break_held_by.clear()
            if port.breaking != before:
                actions.append(Break(port.breaking))
            value = _BREAK_ON if port.breaking else _BREAK_OFF
        elif _DTR <= value <= _RTS_OFF:
            asked, name = (_DTR, "dtr") if value <= _DTR_OFF else (_RTS, "rts")
            if value != asked and port.signals[name] != (value == asked + 1):
                port.signals[name] = value == asked + 1
                actions.append(Signal(name, port.signals[name]))
            value = asked + 1 if port.signals[name] else asked + 2
        else:
            return []
        return [*actions, Answer(_answer(what, value))]

    def _state(self, what: int, data: bytes) -> list[Action]:
        """The state of lines. Only the server may send these, but some clients ask this way."""
        if what == LINE_STATE:
            return [Answer(_answer(what, 0))]
        return [Answer(_answer(what, LINES & self._modem_mask))] if LINES & self._modem_mask else []

    def _hold(self, what: int, data: bytes) -> list[Action]:
        """Suspend and resume (section 3); neither is answered."""
        if self.held == (what == SUSPEND):
            return []
        self.held = what == SUSPEND
        return [Hold(self.held)]

    def _mask(self, what: int, data: bytes) -> list[Action]:
        if len(data) != 1:
            return []
        if what == LINE_MASK:
            self._line_mask = data[0]
        else:
            self._modem_mask = data[0]
        return [Answer(_answer(what, data[0]))]

    def _purge(self, what: int, data: bytes) -> list[Action]:
        if len(data) != 1 or not 1 <= data[0] <= 3:
            return []
        return [Purge(bool(data[0] & 1), bool(data[0] & 2)), Answer(_answer(what, data[0]))]


def _answer(what: int, value: int, size: int = 1) -> bytes:
    return message(COM_PORT, bytes((ANSWER + what,)) + value.to_bytes(size, "big"))

"""MODBUS RTU, the hot codec (MODBUS Application Protocol V1.1b3; MODBUS over Serial Line V1.02).

Functions 03 (read holding registers), 06 and 16 (write them), and two of our own from the user-defined codes (65 to 72,
V1.1b3, 5): 65 searches for serial numbers, 66 gives a bus ID to one. They go to all, and the addressed cameras answer.
That is our invention too: broadcasts of the standard get no reply. The slow reference is the construct definition in
`modbus_reference`; a property test holds the two equal.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from functools import lru_cache
from struct import Struct, error, pack, unpack_from
from types import MappingProxyType
from typing import Final

from anycrc import Model
from mypy_extensions import mypyc_attr

from busim.foundation.errors import Defect
from busim.protocols.contract import (
    ASSIGN,
    DECODED,
    OTHER,
    READ,
    SEARCH,
    UNKNOWN,
    WRITE,
    Reply,
    Request,
    WireFramer,
)
from busim.protocols.silence import SilenceFramer

_crc: Final[Callable[[bytes], int]] = Model("CRC16-MODBUS").calc
_crc_of: Final = lru_cache(256)(_crc)  # of received bytes: master, cameras and judges check the same ones
_new: Final = tuple.__new__  # a named tuple's own constructor without one call: twice per exchange
_MOST: Final = 127  # registers whose bytes a length of 8 bits can count
_REGISTERS: Final = tuple(Struct(f">{count}H").unpack_from for count in range(_MOST + 1))
_READ_REPLIES: Final = tuple(Struct(f">BBB{count}H").pack for count in range(_MOST + 1))
_READ: Final = 3
_WRITE_ONE: Final = 6
_WRITE: Final = 16
_KNOWN: Final = frozenset((_READ, _WRITE_ONE, _WRITE))
_SEARCH: Final = 65
_ASSIGN: Final = 66
_OWN: Final = {_SEARCH: (18, 8), _ASSIGN: (9, 9)}  # function: bytes of its request, to all, and of its reply
_NONE: Final = (sys.maxsize, 0)
_OWN_FORMS: Final = {SEARCH: _SEARCH, ASSIGN: _ASSIGN}
_TENTH: Final = 100_000  # ns: the unit of a slot's length


def _form(verb: str, size: int) -> int:
    """The function this protocol chooses for a verb."""
    return _READ if verb == READ else _WRITE_ONE if size == 1 else _WRITE


def check(data: bytes) -> bytes:
    """The frame with its CRC-16/MODBUS after it, low byte first (V1.02, 2.5.1.2)."""
    return data + _crc(data).to_bytes(2, "little")


@mypyc_attr(allow_interpreted_subclasses=True)
class ModbusRtu:
    """The `modbus-rtu` protocol. Values are 16-bit registers."""

    name = "modbus-rtu"
    addresses = (1, 247)
    broadcast: int | None = 0
    answers_broadcast = False
    most_values = 125
    keys: Mapping[str, Mapping[str, int]] = MappingProxyType({})

    def encode_request(self, request: Request) -> bytes:
        """Raises Defect for a message the protocol cannot carry."""
        address, verb, key, size, values, form = request
        if verb == READ:
            return check(pack(">BBHH", address, _READ, key, size))
        if verb in _OWN_FORMS:
            return _own_request(request)
        if verb != WRITE or not 1 <= size <= 123 or size != len(values) or (size > 1 and form == _WRITE_ONE):
            raise Defect(f"a {verb} of {size} registers with {len(values)} values cannot be encoded")
        if size == 1 and form != _WRITE:
            return check(pack(">BBHH", address, _WRITE_ONE, key, values[0]))
        return check(pack(f">BBHHB{size}H", address, _WRITE, key, size, 2 * size, *values))

    def decode_request(self, data: bytes) -> Request | None:
        size = len(data)
        if size < 4 or size > 256 or _crc_of(data):  # the CRC of a frame with its CRC is 0
            return None
        address, function = data[0], data[1]
        if function not in _KNOWN:
            if function in _OWN:
                return _decode_own(data)
            return Request(address, UNKNOWN, 0, 0, (), function) if function < 0x80 else OTHER
        if size < 8:
            return OTHER
        key, count = unpack_from(">HH", data, 2)
        if size == 8:
            if function == _READ:
                return _new(Request, (address, READ, key, count if count <= 125 else 0, (), _READ))
            return _new(Request, (address, WRITE, key, 1, (count,), _WRITE_ONE)) if function == _WRITE_ONE else OTHER
        if function == _WRITE and size == 9 + data[6]:
            if not 1 <= count <= 123 or data[6] != 2 * count:
                return Request(address, WRITE, key, 0, (), _WRITE)
            return Request(address, WRITE, key, count, unpack_from(f">{count}H", data, 7), _WRITE)
        return OTHER

    def encode_reply(self, reply: Reply) -> bytes:
        address, verb, key, values, refused, form = reply
        count = len(values)
        if refused:
            if verb in _OWN_FORMS:  # otherwise silent
                return b""
            return check(bytes((address, (form or _form(verb, count)) | 0x80, refused)))
        if verb == READ:
            return check(_READ_REPLIES[count](address, _READ, 2 * count, *values))
        if verb in _OWN_FORMS:
            return _own_reply(reply)
        if (form or _form(verb, count)) == _WRITE_ONE:
            return check(pack(">BBHH", address, _WRITE_ONE, key, values[0]))
        return check(pack(">BBHH", address, _WRITE, key, count))

    def decode_reply(self, data: bytes, request: Request) -> Reply | None:
        """The reply to `request`, or None if these bytes are no sound reply to it."""
        size = len(data)
        if size < 5:
            return None
        if data[0] != request.address:  # requests to all get answers under each camera's own ID
            return _decode_own_reply(data, request) if request.verb in _OWN_FORMS else None
        if _crc_of(data):
            return None
        address, verb, key, count, values, form = request
        function = data[1]
        wanted = form or _form(verb, count)
        if function == wanted | 0x80:
            return Reply(address, verb, key, (), data[2], form) if size == 5 and data[2] else None
        if function != wanted:
            return None
        if function == _READ:
            if size != 5 + 2 * count or data[2] != 2 * count:
                return None
            return _new(Reply, (address, verb, key, _REGISTERS[count](data, 3), 0, form))
        repeated = values[0] if function == _WRITE_ONE else count
        if size != 8 or verb != WRITE or unpack_from(">HH", data, 2) != (key, repeated):
            return None
        return Reply(address, verb, key, values, 0, form)

    def cut_requests(self, data: bytes) -> tuple[list[Request], bytes]:
        requests = []
        start, size = 0, len(data)
        position = 0
        while size - position >= 8:
            function = data[position + 1]
            length = 9 + data[position + 6] if function == _WRITE else 8
            if function not in _KNOWN:
                length = _OWN.get(function, _NONE)[0]
            if size - position < length:
                position += 1
                continue
            request = self.decode_request(data[position : position + length])
            if request is None or request is OTHER or request.verb == UNKNOWN:
                position += 1
            else:
                requests.append(request)
                start = position = position + length
        return requests, data[max(start, size - 256) :]

    def request_bytes(self, request: Request) -> int:
        if request.verb == READ or (request.size == 1 and request.form != _WRITE):
            return 8
        if request.verb in _OWN_FORMS:
            return _OWN[_OWN_FORMS[request.verb]][0]
        return 9 + 2 * request.size

    def reply_bytes(self, request: Request) -> int:
        if request.verb in _OWN_FORMS:
            return _OWN[_OWN_FORMS[request.verb]][1]
        return 5 + 2 * request.size if request.verb == READ else 8

    def lengths(self, request: Request) -> tuple[int, int, int]:
        """Nothing is escaped, and every number has its two bytes."""
        return self.request_bytes(request), self.reply_bytes(request), 0

    def silence(self, baud: float) -> int:
        """t3.5: 3.5 characters of 11 bits up to 19200 Bd, 1750 us above (V1.02, p. 13)."""
        return 1_750_000 if baud > 19200 else round(38.5e9 / baud)

    def wire_framer(self, baud: float, char: int, tail: int) -> WireFramer:
        """A frame ends with t3.5 of silence; a gap of more than t1.5 inside one spoils it (V1.02, p. 13)."""
        between = 750_000 if baud > 19200 else round(16.5e9 / baud)
        return SilenceFramer(char, tail, between, self.silence(baud), longest=256)

    def stream_framer(self) -> ModbusReplyFinder:
        return ModbusReplyFinder(self)


def _own_request(request: Request) -> bytes:
    """Search: lowest and highest serial, the single ID (0: any), slots, tenths of ms of each, draw. Assignment: serial,
    its new ID.
    """
    address, verb, _, _, values, _ = request
    try:
        if address:
            raise ValueError("only to all")
        if verb == ASSIGN:
            return check(pack(">BBIB", address, _ASSIGN, *values))
        low, high, only, slots, slot, draw = values
        return check(pack(">BBIIBBHH", address, _SEARCH, low, high, only, slots, -(-slot // _TENTH), draw))
    except (error, ValueError):
        raise Defect(f"a {verb} with the values {values} cannot be encoded") from None


def _decode_own(data: bytes) -> Request:
    """A search or an assignment, which go to all.

    A frame with the length of an answer, under an address, is the answer of some camera: cameras that share its bus ID
    hear it under their own and must keep silent. Anything else is a function that no device has in that form (V1.1b3,
    7).
    """
    address, function = data[0], data[1]
    asked, answered = _OWN[function]
    if address and len(data) == answered:
        return OTHER
    if address or len(data) != asked:
        return Request(address, UNKNOWN, 0, 0, (), function)
    if function == _ASSIGN:
        return Request(0, ASSIGN, 0, 0, unpack_from(">IB", data, 2), _ASSIGN)
    low, high, only, slots, slot, draw = unpack_from(">IIBBHH", data, 2)
    return Request(0, SEARCH, 0, 0, (low, high, only, slots, slot * _TENTH, draw), _SEARCH)


def _own_reply(reply: Reply) -> bytes:
    """Cameras that are not addressed are silent."""
    if not reply.values:
        return b""
    if reply.verb == SEARCH:
        return check(pack(">BBI", reply.address, _SEARCH, *reply.values))
    return check(pack(">BBIB", reply.address, _ASSIGN, *reply.values))


def _decode_own_reply(data: bytes, request: Request) -> Reply | None:
    """The answer of a camera of any ID to a search or an assignment."""
    _, verb, key, _, values, form = request
    function = _OWN_FORMS[verb]
    if data[0] > 247 or data[1] != function or len(data) != _OWN[function][1] or _crc_of(data):
        return None
    found = unpack_from(">I" if verb == SEARCH else ">IB", data, 2)
    meant = found == values if verb == ASSIGN else values[0] <= found[0] <= values[1]
    return Reply(data[0], verb, key, found, 0, form) if meant else None


@mypyc_attr(allow_interpreted_subclasses=True)
class ModbusReplyFinder:
    """Finds the reply to one request by length and check, whatever comes before it. The latest whole replies are
    remembered: mostly the same bytes answer the same request.
    """

    __slots__ = ("_buffer", "_decode", "_lengths", "_protocol", "_request")

    def __init__(self, protocol: ModbusRtu) -> None:
        self._protocol = protocol
        self._decode = lru_cache(DECODED)(protocol.decode_reply)
        self._buffer = b""
        self._request: Request | None = None
        self._lengths = (5, 5)

    def ask(self, request: Request, raw: bytes) -> bytes:
        self.expect(request)
        return raw

    def expect(self, request: Request) -> None:
        self._request = request
        self._buffer = b""
        self._lengths = (self._protocol.reply_bytes(request), 5)

    def feed(self, data: bytes, at: int) -> Reply | None:
        request = self._request
        if request is None:
            return None
        buffer = self._buffer = self._buffer + data if self._buffer else data
        whole, refusal = self._lengths
        if len(buffer) == whole and (reply := self._decode(buffer, request)):
            return reply
        if request.verb in _OWN_FORMS:
            return self._from_any(request)
        start = buffer.find(request.address)
        while start >= 0 and len(buffer) - start >= refusal:
            for length in self._lengths:
                if len(buffer) - start >= length and (
                    reply := self._protocol.decode_reply(buffer[start : start + length], request)
                ):
                    return reply
            start = buffer.find(request.address, start + 1)
        self._buffer = buffer[-1024:]
        return None

    def _from_any(self, request: Request) -> Reply | None:
        """The first sound answer in the held bytes, from any camera."""
        whole = self._lengths[0]
        for start in range(len(self._buffer) - whole + 1):
            reply = self._protocol.decode_reply(self._buffer[start : start + whole], request)
            if reply is not None:
                return reply
        self._buffer = self._buffer[-1024:]
        return None

    @property
    def held(self) -> int:
        return len(self._buffer)

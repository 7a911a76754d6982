"""Packets out of pcapng and pcap files, read as a stream: it may be a pipe, and it may never end.

pcapng: the IETF draft "PCAP Next Generation (pcapng) Capture File Format"; pcap: "PCAP Capture File Format", of the
same group. A file that is cut off ends there, with a note; one that contradicts itself raises UserError with the place.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import IO, NamedTuple

from busim.foundation.errors import UserError

_SECTION, _INTERFACE, _SIMPLE, _PACKET, _OLD_PACKET = 0x0A0D0D0A, 1, 3, 6, 2
_ORDER = 0x1A2B3C4D
_TSRESOL, _TSOFFSET = 9, 14
_LONGEST = 1 << 24  # bytes of a block
_PIECE = 1 << 16  # bytes read at once
_INTERFACES = 4096  # of a section
PCAPNG = struct.pack("<I", _SECTION)
PCAP = {
    bytes.fromhex(magic): (order, unit)
    for magic, order, unit in (
        ("d4c3b2a1", "<", 1000), ("a1b2c3d4", ">", 1000), ("4d3cb2a1", "<", 1), ("a1b23c4d", ">", 1),
    )
}  # fmt: skip


_new = tuple.__new__  # a named tuple's own constructor without one call
_ENHANCED = {order: struct.Struct(order + "IIIIIII") for order in "<>"}  # head of a packet block, up to its data
_AROUND = 32  # bytes of such a block around its data


class Captured(NamedTuple):
    """A packet of link type `link`, captured at `at` ns since 1970."""

    at: int
    link: int
    data: bytes


class _Interface(NamedTuple):
    """`units`: time stamps per second; `offset`: seconds to add."""

    link: int
    units: int
    offset: int

    def instant(self, stamp: int) -> int:
        """A time stamp of its packets, ns since 1970."""
        units = self.units
        return (stamp if units == 10**9 else stamp * 10**9 // units) + self.offset * 10**9


class _Reader:
    """Reads whole pieces, and knows where it is."""

    def __init__(self, file: IO[bytes], name: str, start: bytes) -> None:
        self._more = getattr(file, "read1", file.read)  # what there is: a pipe may pause behind a packet
        self._held = start
        self._at = 0
        self._before = 0  # bytes before the held ones
        self.name = name

    @property
    def place(self) -> int:
        """Bytes taken so far."""
        return self._before + self._at

    def take(self, count: int) -> bytes:
        """That many bytes, fewer at the end of the file."""
        end = self._at + count
        if end > len(self._held):
            self._before += self._at
            pieces = [self._held[self._at :]]
            size = len(pieces[0])
            while size < count and (more := self._more(_PIECE)):
                pieces.append(more)
                size += len(more)
            self._held, self._at, end = b"".join(pieces), 0, min(count, size)
        data = self._held[self._at : end]
        self._at = end
        return data

    def packets(self, order: str, interfaces: list[_Interface]) -> Iterator[Captured]:
        """The packet blocks that lie before it as a whole. Ends at the first other block, which is not taken."""
        unpack = _ENHANCED[order].unpack_from
        held, at, count = self._held, self._at, len(interfaces)
        last = len(held) - _AROUND
        while at <= last:
            kind, length, number, high, low, size, _ = unpack(held, at)
            end = at + length
            if kind != _PACKET or number >= count or size > length - _AROUND or length % 4 or end > len(held):
                return
            one = interfaces[number]
            self._at = end
            yield _new(Captured, (one.instant(high << 32 | low), one.link, held[at + 28 : at + 28 + size]))
            at = end

    def cut(self) -> str:
        """The note on a file that ends here."""
        return f"the capture is cut off near byte {self.place}: its end is missing"

    def wrong(self, what: str) -> UserError:
        return UserError(
            "the capture is damaged", file=self.name, found=f"{what} near byte {self.place}",
            mend="use another copy of it, or cut the sound part out with editcap",
        )  # fmt: skip


def pcapng_packets(file: IO[bytes], name: str, start: bytes, notes: list[str]) -> Iterator[Captured]:
    """The packets of a pcapng stream that began with the bytes `start`; adds to `notes` if it is cut off. Raises
    UserError.
    """
    reader = _Reader(file, name, start)
    order, interfaces, last = "<", list[_Interface](), 0
    while True:
        for found in reader.packets(order, interfaces):  # nearly all blocks
            last = found.at
            yield found
        head = reader.take(8)
        if not head:
            return
        if len(head) < 8:
            notes.append(reader.cut())
            return
        if head[:4] == PCAPNG:
            magic = reader.take(4)
            order = next((one for one in "<>" if magic == struct.pack(one + "I", _ORDER)), "")
            if not order:
                if len(magic) < 4:
                    notes.append(reader.cut())
                    return
                raise reader.wrong(f"a section that begins with {magic.hex()}")
            interfaces = []
            head += magic
        kind, length = struct.unpack(order + "II", head[:8])
        if length % 4 or not 12 <= length <= _LONGEST or length < len(head) + 4:
            raise reader.wrong(f"a block of {length} bytes")
        body = reader.take(length - len(head))
        if len(body) < length - len(head):
            notes.append(reader.cut())
            return
        body = body[:-4]
        try:
            if kind == _INTERFACE:
                if len(interfaces) >= _INTERFACES:
                    raise reader.wrong(f"more than {_INTERFACES} interfaces")
                interfaces.append(_interface(body, order))
            elif kind in (_PACKET, _OLD_PACKET):
                found = _packet(kind, body, order, interfaces)
                last = found.at
                yield found
            elif kind == _SIMPLE and interfaces:
                size = struct.unpack_from(order + "I", body)[0]
                yield Captured(last, interfaces[0].link, body[4 : 4 + size])
        except (struct.error, IndexError, ValueError, OverflowError) as error:
            raise reader.wrong(f"a block of type {kind} that does not hold what it should ({error})") from None


def _interface(body: bytes, order: str) -> _Interface:
    link = struct.unpack_from(order + "HHI", body)[0]
    units, offset, place = 10**6, 0, 8
    while place + 4 <= len(body):
        code, size = struct.unpack_from(order + "HH", body, place)
        value = body[place + 4 : place + 4 + size]
        if code == 0:
            break
        if code == _TSRESOL and size == 1:
            units = 2 ** (value[0] & 0x7F) if value[0] & 0x80 else 10 ** min(value[0], 30)
        elif code == _TSOFFSET and size == 8:
            offset = struct.unpack(order + "q", value)[0]
        place += 4 + size + -size % 4
    return _Interface(link, units, offset)


def _packet(kind: int, body: bytes, order: str, interfaces: list[_Interface]) -> Captured:
    if kind == _PACKET:
        number, high, low, size, _ = struct.unpack_from(order + "IIIII", body)
    else:
        number, _, high, low, size, _ = struct.unpack_from(order + "HHIIII", body)
    if size > len(body) - 20:
        raise ValueError(f"a packet of {size} bytes")
    one = interfaces[number]
    return Captured(one.instant(high << 32 | low), one.link, body[20 : 20 + size])


def pcap_packets(file: IO[bytes], name: str, start: bytes, notes: list[str]) -> Iterator[Captured]:
    """The packets of a pcap stream that began with the bytes `start`; adds to `notes` if it is cut off. Raises
    UserError.
    """
    reader = _Reader(file, name, start)
    head = reader.take(24)
    if len(head) < 24:
        notes.append(reader.cut())
        return
    order, unit = PCAP[head[:4]]
    link = struct.unpack_from(order + "I", head, 20)[0] & 0xFFFF
    while packet := reader.take(16):
        if len(packet) < 16:
            notes.append(reader.cut())
            return
        seconds, rest, size, _ = struct.unpack(order + "IIII", packet)
        if size > _LONGEST:
            raise reader.wrong(f"a packet of {size} bytes")
        data = reader.take(size)
        if len(data) < size:
            notes.append(reader.cut())
            return
        yield Captured(seconds * 10**9 + rest * unit, link, data)

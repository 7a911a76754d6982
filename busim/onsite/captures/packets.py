"""Bytes of a line out of captured packets: serial ones (link type 250), and TCP as controllers and boxes speak it.

Of TCP each direction is put in order by its sequence numbers (RFC 9293, 3.4): what was sent twice counts once, what
came early waits for what is missing, and a hole that stays is given up. The end that sent SYN is the controller; where
the capture begins later, the ways are not known. Link types: the tcpdump group's list of link-layer header types.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator

from busim.onsite.captures.blocks import Captured
from busim.onsite.captures.pieces import BOTH, FROM_LINE, TO_LINE, Piece

_RTAC, _ETHERNET, _RAW, _NULL, _LOOP, _SLL, _SLL2, _IPV4, _IPV6 = 250, 1, 101, 0, 108, 113, 276, 228, 229
_HEADS = {_RAW: 0, _IPV4: 0, _IPV6: 0, _NULL: 4, _LOOP: 4, _SLL: 16, _SLL2: 20}  # link type -> bytes before IP
_VLANS = (0x8100, 0x88A8)
_TCP, _FIN, _SYN, _RST = 6, 1, 2, 4
_EARLY = 64  # segments that wait for a missing one
_FLOWS = 4096
_new = tuple.__new__  # a named tuple's own constructor without one call
_WAYS = {1: TO_LINE, 3: TO_LINE, 2: FROM_LINE, 4: FROM_LINE}  # event of a serial packet


class Unwrapping:
    """Takes packets, returns pieces. `skipped`: packets of other kinds; `holes`: gaps that were given up."""

    def __init__(self, port: int | None = None) -> None:
        self.skipped = 0
        self.holes = 0
        self._port = port
        self._flows: dict[tuple[bytes, bytes], _Flow] = {}

    def pieces(self, packets: Iterable[Captured]) -> Iterator[Piece]:
        """The pieces of these packets, with their own times."""
        for packet in packets:
            at, link, data = packet
            if link != _RTAC:
                yield from self._network(packet)
            elif len(data) > 12:
                yield _new(Piece, (at, _WAYS.get(data[8], BOTH), data[12:], "", -1))
            elif len(data) < 12:
                self.skipped += 1

    def _network(self, packet: Captured) -> Iterator[Piece]:
        try:
            found = _tcp(_ip(packet))
        except (IndexError, struct.error):
            found = None
        if found is None:
            self.skipped += 1
            return
        source, target, sequence, flags, data = found
        if self._port is not None and self._port not in (_port(source), _port(target)):
            self.skipped += 1
            return
        flow = self._flows.get((source, target))
        if flow is None:
            if len(self._flows) >= _FLOWS:
                self._flows.pop(next(iter(self._flows)))
            flow = self._flows[source, target] = _Flow()
        other = self._flows.get((target, source))
        if flags & _SYN:
            asks = other is None or other.way != TO_LINE
            flow.begin(sequence + 1, TO_LINE if asks else FROM_LINE)
            sequence += 1
        if flow.way == BOTH and other is not None and other.way != BOTH:
            flow.way = FROM_LINE if other.way == TO_LINE else TO_LINE
        if self._port is not None:
            flow.way = TO_LINE if _port(target) == self._port else FROM_LINE
        for each in flow.take(sequence, data):
            yield Piece(packet.at, flow.way, each, _text(source))
        self.holes += flow.given_up()
        if flags & (_FIN | _RST):
            self._flows.pop((source, target), None)


class _Flow:
    """One direction of a TCP connection."""

    def __init__(self) -> None:
        self.way = BOTH
        self._next: int | None = None
        self._early: dict[int, bytes] = {}
        self._holes = 0

    def begin(self, sequence: int, way: int) -> None:
        self._next, self.way = sequence & 0xFFFFFFFF, way
        self._early.clear()

    def take(self, sequence: int, data: bytes) -> Iterator[bytes]:
        """The bytes that are now in order."""
        if not data:
            return
        if self._next is None:
            self._next = sequence
        ahead = (sequence - self._next) & 0xFFFFFFFF
        if ahead >= 1 << 31:  # sent before
            data = data[(1 << 32) - ahead :]
            ahead = 0
        if ahead:
            self._early[sequence] = data
            if len(self._early) <= _EARLY:
                return
            self._holes += 1  # the missing segment was never captured
            self._next = min(self._early, key=lambda one: (one - (self._next or 0)) & 0xFFFFFFFF)
            data = self._early.pop(self._next)
        while data:
            self._next = (self._next + len(data)) & 0xFFFFFFFF
            yield data
            data = self._early.pop(self._next, b"")

    def given_up(self) -> int:
        """The holes since the last call."""
        holes, self._holes = self._holes, 0
        return holes


def _ip(packet: Captured) -> bytes:
    """The IP packet in a captured one; empty for another kind."""
    if packet.link != _ETHERNET:
        head = _HEADS.get(packet.link)
        return b"" if head is None else packet.data[head:]
    place = 12
    kind = struct.unpack_from(">H", packet.data, place)[0]
    while kind in _VLANS:
        place += 4
        kind = struct.unpack_from(">H", packet.data, place)[0]
    return packet.data[place + 2 :] if kind in (0x0800, 0x86DD) else b""


def _tcp(data: bytes) -> tuple[bytes, bytes, int, int, bytes] | None:
    """Source and target (address and port), sequence number, flags and data; None for anything but TCP."""
    if not data:
        return None
    if data[0] >> 4 == 4:
        start, length = 4 * (data[0] & 15), struct.unpack_from(">H", data, 2)[0]
        if data[9] != _TCP or struct.unpack_from(">H", data, 6)[0] & 0x1FFF:
            return None
        source, target = data[12:16], data[16:20]
        end = length or len(data)  # 0 where the card cuts the segments (segmentation offload)
    elif data[0] >> 4 == 6:
        start, source, target = 40, data[8:24], data[24:40]
        if data[6] != _TCP:
            return None
        end = 40 + struct.unpack_from(">H", data, 4)[0]
    else:
        return None
    here, there, sequence = struct.unpack_from(">HHI", data, start)
    offset, flags = 4 * (data[start + 12] >> 4), data[start + 13]
    body = data[start + offset : end]
    return source + here.to_bytes(2), target + there.to_bytes(2), sequence, flags, body


def _port(end: bytes) -> int:
    return int.from_bytes(end[-2:])


def _text(end: bytes) -> str:
    address = end[:-2]
    if len(address) == 4:
        return f"{'.'.join(map(str, address))}:{_port(end)}"
    return f"[{address.hex(':', 2)}]:{_port(end)}"

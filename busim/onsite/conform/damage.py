"""Damaged frames: reads with a flaw, none of which can ever form anything but a read.

A device that looks for frames in a stream may take any run of bytes as one, across frames too. So a damaged frame is
only used if every run in it, and in what is sent before and after it, is a read or nothing sound at all.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from busim.protocols import READ, BusProtocol, Request

REACH = 256  # bytes sent before that a device may still hold: the longest MODBUS frame (V1.02, p. 13)
_BAUD, _CHARACTER = 9600.0, 1_041_667  # ns, 8N1: any rate tells whether bytes make a message
_RUBBISH = (b"\x00", b"\xff", b"\x00\x00\x00", b"\xff\xff\xff", b"\x55\xaa\x55", bytes(16))


class Damage(NamedTuple):
    """A frame with a flaw."""

    title: str
    raw: bytes


def harmless(protocol: BusProtocol, stream: bytes, since: int = 0) -> bool:
    """Whether every run of these bytes that is a sound message is a read, of the runs that end after byte `since`."""
    size = len(stream)
    for start in range(size):
        for end in range(max(start, since) + 1, size + 1):
            request = protocol.decode_request(stream[start:end])
            if request is not None and request.verb != READ:
                return False
    return True


def damaged(protocol: BusProtocol, request: Request) -> tuple[Damage, ...]:
    """Reads with a flaw: a bit, a byte more, the check in the wrong order, cut short at each place.

    None is a sound message, and none can form one that is no read with the sound reads beside it. What was sent before
    those is looked at when they are sent (`Device.safe`). Raises ValueError for a request that is no read.
    """
    if request.verb != READ:
        raise ValueError("damaged frames derive from reads alone")
    raw = protocol.encode_request(request)
    return _kept(protocol, raw, _flawed(raw))


def rubbish(protocol: BusProtocol, request: Request) -> tuple[Damage, ...]:
    """Bytes that are no frame, under the same rule."""
    raw = protocol.encode_request(request)
    return _kept(protocol, raw, (Damage(f"rubbish {one[:4].hex(' ').upper()}", one) for one in _RUBBISH))


def _kept(protocol: BusProtocol, raw: bytes, drawn: Iterator[Damage]) -> tuple[Damage, ...]:
    return tuple(one for one in drawn if not _sound(protocol, one.raw) and harmless(protocol, raw + one.raw + raw))


def _sound(protocol: BusProtocol, raw: bytes) -> bool:
    """Whether a receiver of this protocol makes a message of these bytes: one that needs no silence takes a byte more
    for the beginning of the next message.
    """
    framer = protocol.wire_framer(_BAUD, _CHARACTER, _CHARACTER // 2)
    frames = framer.feed(raw, _CHARACTER, len(raw) * _CHARACTER, 0)
    if framer.quiet_until is not None:
        frames += framer.elapsed(framer.quiet_until)
    return any(not flaw and protocol.decode_request(data) is not None for data, _, flaw in frames)


def _flawed(raw: bytes) -> Iterator[Damage]:
    for place, value in enumerate(raw):
        bit = place * 3 % 8  # another bit in each byte
        flipped = raw[:place] + bytes((value ^ 1 << bit,)) + raw[place + 1 :]
        yield Damage(f"bit {bit} of byte {place} flipped", flipped)
    for place in range(1, len(raw)):
        yield Damage(f"ended after byte {place - 1}", raw[:place])
    yield Damage("a byte more", raw + b"\x00")
    if raw[-2] != raw[-1]:
        yield Damage("its last two bytes exchanged", raw[:-2] + raw[:-3:-1])

"""The frames that a receiver loses after junk: on the wire, and in a stream of bytes without times."""

from __future__ import annotations

from collections.abc import Iterator

from busim.protocols import DeclaredProtocol, Frame, Request

_BAUD = 9600.0
_CHARACTER = 1_041_667  # ns, 8N1 at 9600 Bd
_TAIL = 520_833  # ns from the middle of the first stop bit on, half a bit before it ends
_BEHIND = 3  # sound frames after the damaged one


def lost_after(protocol: DeclaredProtocol, request: Request) -> Iterator[tuple[str, int]]:
    """The damage to a frame, and the number of sound frames lost after it, on the worse of the two ways."""
    raw = protocol.encode_request(request)
    for title, damaged in _damaged(protocol, raw):
        yield title, max(_BEHIND - _on_the_wire(protocol, damaged, raw), _BEHIND - _in_a_stream(protocol, damaged, raw))


def _damaged(protocol: DeclaredProtocol, raw: bytes) -> Iterator[tuple[str, bytes]]:
    framing = protocol.declaration.framing
    first = protocol.declaration.frame[0]
    telling = {
        0x00,
        0xFF,
        raw[0],
        *framing.start[:1],
        *framing.end[:1],
        *(first[:1] if isinstance(first, bytes) else b""),
    }
    for place in range(len(raw) + 1):
        for junk in sorted(telling):
            yield f"{junk:02X} before byte {place}", raw[:place] + bytes((junk,)) + raw[place:]
        if place < len(raw):
            yield f"byte {place} lost", raw[:place] + raw[place + 1 :]
            yield f"ended after byte {place}", raw[:place]


def _on_the_wire(protocol: DeclaredProtocol, damaged: bytes, raw: bytes) -> int:
    """The number of following sound frames that are heard, each after the time-out of the master."""
    framer = protocol.wire_framer(_BAUD, _CHARACTER, _TAIL)
    framing = protocol.declaration.framing
    pause = max(protocol.silence(_BAUD), framing.forget.at(_BAUD)) + 2 * _CHARACTER
    at = 10**9
    heard: list[Frame] = []
    for data in (damaged, *[raw] * _BEHIND):
        if data:
            last = at + (len(data) - 1) * _CHARACTER
            heard += framer.feed(data, at, last, 0)
            at = last + pause
        due = framer.quiet_until
        if due is not None and due <= at - _CHARACTER:
            heard += framer.elapsed(due)
    due = framer.quiet_until
    if due is not None:
        heard += framer.elapsed(due)
    sound = [data for data, _, flaw in heard if not flaw].count(raw)
    return min(sound, _BEHIND)


def _in_a_stream(protocol: DeclaredProtocol, damaged: bytes, raw: bytes) -> int:
    """The number of following sound frames that are found without a pause between them."""
    data = damaged + raw * _BEHIND
    found = [data[begin:end] for begin, end, flaw in protocol.cut(data) if not flaw].count(raw)
    return min(found, _BEHIND)

"""A proof: the trials of a protocol, their results, and sample frames to compare with a protocol sheet.

Two results can be bad: a message that does not survive a round trip, and a framer that stays out of step. The blind
spots of a check and messages that look alike belong to the protocol itself; they are listed for its user.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, product

from busim.protocols import DeclaredProtocol, Request
from busim.protocols import Reply as ReplyMessage
from busim.testing.resync import lost_after
from busim.testing.samples import Exchange, exchanges

_MOST_LISTED = 12


@dataclass(frozen=True, slots=True)
class Verdict:
    """One trial: its count, its result, and a note."""

    what: str
    tried: int
    holds: bool
    said: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sample:
    """A frame with its fields: (name, bytes), the name empty for constant bytes."""

    title: str
    raw: bytes
    pieces: tuple[tuple[str, bytes], ...]


@dataclass(frozen=True, slots=True)
class Proof:
    """All results about a protocol."""

    name: str
    title: str
    verdicts: tuple[Verdict, ...]
    samples: tuple[Sample, ...]

    @property
    def holds(self) -> bool:
        return all(verdict.holds for verdict in self.verdicts)


def prove(protocol: DeclaredProtocol) -> Proof:
    """Try the protocol. Takes less than a second for a usual protocol."""
    tried = list(exchanges(protocol))
    verdicts = (
        _comes_back(protocol, tried),
        _bits(protocol, tried),
        _alike(protocol),
        _in_a_stream(protocol),
        _in_step(protocol, tried),
    )
    return Proof(protocol.name, protocol.declaration.title, verdicts, tuple(_samples(protocol, tried)))


def _direction(exchange: Exchange) -> str:
    return "refusal" if exchange.refused else "reply"


def listed(said: list[str]) -> tuple[str, ...]:
    """The first lines, as many as people read."""
    more = len(said) - _MOST_LISTED
    return (*said[:_MOST_LISTED], f"... and {more} more") if more > 0 else tuple(said)


# -- every message comes back ------------------------------------------------------------------------------


def _comes_back(protocol: DeclaredProtocol, tried: list[Exchange]) -> Verdict:
    """Encoded, decoded and encoded again; and the definition gives the same bytes and reads the same fields."""
    said: list[str] = []
    definition = protocol.definition()
    count = 0
    for one in tried:
        raw = protocol.encode_request(one.request)
        back = protocol.decode_request(raw)
        if back != one.request:
            said.append(f"request {one.name}: {_hex(raw)} is read as {_shown(back)}")
        elif protocol.encode_request(back) != raw:
            said.append(f"request {one.name}: {_hex(raw)} is encoded differently the second time")
        answer = protocol.encode_reply(one.reply)
        heard = protocol.decode_reply(answer, one.request)
        if heard is None or heard.refused != one.reply.refused or (not heard.refused and heard != one.reply):
            said.append(f"{_direction(one)} {one.name}: {_hex(answer)} is read as {heard}")
        for direction, bytes_ in (("request", raw), (_direction(one), answer)):
            count += 1
            message = protocol.declaration.message(protocol.operations[one.number], direction)
            defined = definition.build(message, one.fields(direction, protocol))
            if defined.raw != bytes_:
                said.append(f"{direction} {one.name}: {_hex(bytes_)}, but by the definition {_hex(defined.raw)}")
            elif definition.parse(message, bytes_, one.request.size) is None:
                said.append(f"{direction} {one.name}: the definition does not read {_hex(bytes_)}")
    return Verdict("every message is read back and written again as the same bytes", count, not said, listed(said))


def _shown(request: Request | None) -> str:
    return "no sound frame" if request is None else f"{request.verb}, ID {request.address}, key {request.key}"


# -- single bits --------------------------------------------------------------------------------------------


def _bits(protocol: DeclaredProtocol, tried: list[Exchange]) -> Verdict:
    """Each bit of each frame, inverted: does the check notice?"""
    missed: dict[str, int] = {}
    count = 0
    seen: set[bytes] = set()
    for one in tried:
        raw = protocol.encode_request(one.request)
        answer = protocol.encode_reply(one.reply)
        if raw not in seen:
            found = [damaged for damaged in _flipped(raw) if protocol.decode_request(damaged) is not None]
            count += 8 * len(raw)
            _add(missed, f"request {one.name}", len(found))
        found = [damaged for damaged in _flipped(answer) if protocol.decode_reply(damaged, one.request) is not None]
        count += 8 * len(answer)
        _add(missed, f"{_direction(one)} {one.name}", len(found))
        seen.add(raw)
    if not missed:
        return Verdict("every single flipped bit is noticed", count, True)
    said = [f"{name}: {number} flipped bits" for name, number in missed.items()]
    reason = (
        "there is no check"
        if protocol.declaration.check is None
        else "they lie outside the bytes that the check covers"
    )
    return Verdict(f"single flipped bits that are beyond this check ({reason})", count, True, listed(said))


def _add(missed: dict[str, int], name: str, count: int) -> None:
    if count:
        missed[name] = missed.get(name, 0) + count


def _flipped(raw: bytes) -> list[bytes]:
    return [
        raw[:place] + bytes((raw[place] ^ 1 << bit,)) + raw[place + 1 :]
        for place in range(len(raw))
        for bit in range(8)
    ]


# -- alike --------------------------------------------------------------------------------------------------


def _alike(protocol: DeclaredProtocol) -> Verdict:
    """Requests differ, or the reader would have refused the file; other messages that look alike are listed."""
    said = []
    layouts = list(protocol.layouts.items())
    pairs = list(combinations(layouts, 2))
    for ((number, direction), one), ((other_number, other_direction), other) in pairs:
        if direction == other_direction == "request" or not number or not other_number:
            continue
        if "refusal" in (direction, other_direction):
            continue
        met = protocol.common_bytes(one, other)
        if met is not None:
            names = [protocol.operations[each].name for each in (number, other_number)]
            said.append(f"{direction} {names[0]} and {other_direction} {names[1]}: both may be {_hex(met)} ...")
    what = "no two operations can be confused"
    if said:
        said = ["a request and a reply, or two replies, that may be the same bytes (only the request tells):", *said]
    return Verdict(what, len(pairs), True, listed(said))


def _in_a_stream(protocol: DeclaredProtocol) -> Verdict:
    """If only silence ends requests, a stream of bytes behind a converter cannot be cut between them for sure."""
    requests = [layout for (number, direction), layout in protocol.layouts.items() if direction == "request" and number]
    pairs = list(product(requests, requests))
    said = []
    for one, other in pairs:
        met = protocol.beginning_bytes(one, other)
        if met is not None and one.operation is not None and other.operation is not None:
            longer = "a longer one" if one is other else other.operation.name
            said.append(f"{one.operation.name} {_hex(met)} is a whole request, and {longer} may begin so")
    if said:
        said = [
            "only silence tells these apart; a converter passes none on, so a client must send each in one piece:",
            *said,
        ]
    return Verdict("no request is the beginning of another", len(pairs), True, listed(said))


# -- in step ------------------------------------------------------------------------------------------------


def _in_step(protocol: DeclaredProtocol, tried: list[Exchange]) -> Verdict:
    """Junk at every position of a frame, a byte lost at every position: how many of the next frames are lost?"""
    said = []
    count = 0
    seen: set[tuple[int, int]] = set()
    for one in tried:
        if one.refused or (one.number, one.request.size) in seen:
            continue
        seen.add((one.number, one.request.size))
        for title, lost in lost_after(protocol, one.request):
            count += 1
            if lost > 1:
                said.append(f"{one.name}, {title}: {lost} frames lost")
    return Verdict("after junk at every position the framer is back within one frame", count, not said, listed(said))


# -- samples ------------------------------------------------------------------------------------------------


def _samples(protocol: DeclaredProtocol, tried: list[Exchange]) -> list[Sample]:
    """One frame of each kind, with its fields marked."""
    definition = protocol.definition()
    framing = protocol.declaration.framing
    found: dict[tuple[int, str], Sample] = {}
    for one in tried:
        for direction in ("request", _direction(one)):
            if (one.number, direction) in found:
                continue
            message = protocol.declaration.message(protocol.operations[one.number], direction)
            frame = definition.build(message, one.fields(direction, protocol))
            pieces = [("start", framing.start), *frame.pieces, ("end", framing.end)]
            told = one.request if direction == "request" else one.reply
            found[one.number, direction] = Sample(
                f"{one.name}, {direction}: {_numbers(told)}",
                frame.raw,
                tuple((name, raw) for name, raw in pieces if raw),
            )
    return list(found.values())


def _numbers(message: Request | ReplyMessage) -> str:
    said = [f"ID {message.address}", f"key {message.key}"]
    if message.values:
        said.append(
            "values " + ", ".join(str(value) for value in message.values[:4]) + (" ..." if message.values[4:] else "")
        )
    return ", ".join(said)


def _hex(raw: bytes) -> str:
    return raw.hex(" ").upper()

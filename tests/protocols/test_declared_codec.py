"""The hot codec of a declared protocol equals its definition, over drawn declarations; and it reads what it writes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from construct import ConstructError, GreedyBytes
from drawn_protocols import READS, protocols, replies, requests
from hypothesis import HealthCheck, given, note, settings
from hypothesis import strategies as st

from busim.foundation.errors import Defect
from busim.protocols import OTHER, UNKNOWN, DeclaredProtocol, Reply, Request, find, read_text
from busim.protocols.declared.encodings import Encoding, bits_of
from busim.protocols.declared.reference import Reference, check_of
from busim.protocols.declared.reference_numbers import Number
from busim.protocols.declared.sums import catalogue, summer

SHIPPED = ("text", "short", "tagged")
DRAWN = settings(
    deadline=None, max_examples=80, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


def fields_of(protocol: DeclaredProtocol, request: Request, reply: Reply | None = None) -> dict[str, Any]:
    """A message as the definition takes it."""
    operation = protocol.operations[request.form & 0xFF]
    message = request if reply is None else reply
    direction = "request" if reply is None else "refusal" if reply.refused else "reply"
    layout = protocol.layouts[operation.number, direction]
    values = list(message.values)
    if reply is None and operation.values is not None:
        values = []
    elif not layout.repeats:
        values = values[: len(layout.single_values)]
    reason = 0 if reply is None else protocol.declaration.reasons.get(reply.refused, 0)
    return {
        "address": message.address,
        "key": message.key,
        "tag": request.form >> 8,
        "count": request.size,
        "values": values,
        "reason": reason,
    }


def read_by_definition(protocol: DeclaredProtocol, definition: Reference, raw: bytes) -> Request | None:
    """The request that the definition reads in any bytes."""
    for number, operation in protocol.operations.items():
        low, high = protocol.sizes[number]
        repeats = protocol.layouts[number, "request"].repeats
        for n in range(low, high + 1) if repeats else [high]:
            fields = definition.parse(operation.request, raw, n)
            if fields is None:
                continue
            size = n
            if "count" in fields and operation.verb in READS:
                size = fields["count"] if fields["count"] <= operation.most else 0
            values = operation.values if operation.values is not None else tuple(fields["values"])
            form = number | fields.get("tag", 0) << 8
            return Request(fields["address"], operation.verb, fields.get("key", operation.key or 0), size, values, form)
    return None


def is_request(request: Request | None) -> bool:
    return request is not None and request is not OTHER and request.verb != UNKNOWN


@DRAWN
@given(protocols(), st.data())
def test_a_drawn_protocol_writes_what_its_definition_writes_and_reads_it_back(
    protocol: DeclaredProtocol, data: st.DataObject
) -> None:
    definition = protocol.definition()
    request = data.draw(requests(protocol))
    operation = protocol.operations[request.form & 0xFF]
    raw = protocol.encode_request(request)
    assert raw == definition.build(operation.request, fields_of(protocol, request)).raw
    assert len(raw) == protocol.request_bytes(request) <= protocol.declaration.framing.longest
    assert protocol.decode_request(raw) == request == read_by_definition(protocol, definition, raw)

    reply = data.draw(replies(protocol, request))
    asked, raw = raw, protocol.encode_reply(reply)
    assert reply.refused or len(asked) + len(raw) <= sum(protocol.lengths(request))
    direction = "refusal" if reply.refused else "reply"
    message = protocol.declaration.message(operation, direction)
    assert raw == definition.build(message, fields_of(protocol, request, reply)).raw
    assert definition.parse(message, raw, request.size) is not None
    answer = protocol.decode_reply(raw, request)
    assert answer is not None
    if reply.refused and "reason" not in protocol.layouts[operation.number, "refusal"].parts:
        assert answer.refused
    elif operation.verb in READS and not reply.refused and not protocol.layouts[operation.number, "reply"].repeats:
        assert answer._replace(values=()) == reply._replace(values=())
    else:
        assert answer == reply
    if operation.verb in ("read", "write"):  # others may be echoed
        assert not is_request(protocol.decode_request(raw))


@DRAWN
@given(protocols(), st.data())
def test_both_read_the_same_request_in_damaged_bytes(protocol: DeclaredProtocol, data: st.DataObject) -> None:
    definition = protocol.definition()
    raw = bytearray(protocol.encode_request(data.draw(requests(protocol))))
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(raw)))
        raw[at : at + data.draw(st.integers(0, 2))] = data.draw(
            st.sampled_from([b"", b"\x00", b"0", b"9"]) | st.binary(max_size=3)
        )
    note(bytes(raw).hex(" "))
    found = protocol.decode_request(bytes(raw))
    assert (found if is_request(found) else None) == read_by_definition(protocol, definition, bytes(raw))


@DRAWN
@given(protocols(), st.data())
def test_requests_are_found_in_a_stream_wherever_it_is_cut_and_whatever_lies_before(
    protocol: DeclaredProtocol, data: st.DataObject
) -> None:
    request = data.draw(requests(protocol))
    raw = protocol.encode_request(request)
    if ambiguous(protocol, raw):  # what comes in one piece is one request all the same
        assert protocol.cut_requests(raw) == ([request], b"")
        return
    cut = data.draw(st.integers(0, 2 * len(raw)))
    found, rest = protocol.cut_requests((raw + raw)[:cut])
    more, _ = protocol.cut_requests(rest + (raw + raw)[cut:])
    assert found + more == [request, request]


@pytest.mark.parametrize("value", [0, 9, 12_345, 65_535])
def test_lengths_hold_whatever_the_values(value: int) -> None:
    """By the declaration: a value is of 1 to 5 digits, in the request and in the reply that repeats it."""
    protocol = find("text")
    request = Request(1, "write", 3, 1, (value,))
    longest = protocol.encode_request(request._replace(values=(65_535,)))
    assert len(longest) == len(b"$C01,S,003,65535*00\r\n")
    assert sum(protocol.lengths(request)) == 2 * len(longest)


def ambiguous(protocol: DeclaredProtocol, raw: bytes) -> bool:
    """True if two of these in a row contain another request, where silence ends frames."""
    two, size = raw + raw, len(raw)
    return protocol.declaration.framing.kind == "silence" and any(
        is_request(protocol.decode_request(two[begin:end]))
        for begin in range(len(two))
        for end in range(begin + 1, len(two) + 1)
        if (begin, end) not in ((0, size), (size, 2 * size))
    )


BARE = """\
busim-protocol: 1
name: bare
title: silence ends frames, and nothing in them says where
literals: hex
framing: {kind: silence, quiet: 3.5 characters, longest: 64}
frame: "{address} {message}"
address: {first: 1, last: 9, broadcast: 0}
fields:
  address: {as: unsigned, bytes: 1}
  key: {as: unsigned, bytes: 1}
  value: {as: unsigned, bytes: 1}
operations:
  read: {request: "01 {key}", reply: "02 {value}"}
  write: {request: "03 {key} {values}", reply: "04 {key}", most: 3}
"""


@pytest.mark.parametrize("values", [(7,), (7, 8), (7, 8, 9)])
def test_a_request_that_comes_in_one_piece_is_not_taken_for_a_shorter_one_it_begins_with(
    values: tuple[int, ...],
) -> None:
    protocol = read_text(BARE, "bare.yaml")
    request = Request(1, "write", 5, len(values), values, 2)
    assert protocol.cut_requests(protocol.encode_request(request)) == ([request], b"")


@pytest.mark.parametrize("name", SHIPPED)
@given(st.data())
def test_shipped_protocols_and_their_definitions_agree_on_any_bytes(name: str, data: st.DataObject) -> None:
    protocol = find(name)
    assert isinstance(protocol, DeclaredProtocol)
    raw = data.draw(st.binary(max_size=20))
    found = protocol.decode_request(raw)
    assert (found if is_request(found) else None) == read_by_definition(protocol, protocol.definition(), raw)


BASES = st.one_of(
    st.builds(Encoding, kind=st.sampled_from(["unsigned", "signed", "bcd", "seven"]), size=st.integers(1, 8),
              order=st.sampled_from(["big", "little"]), times=st.integers(1, 9), plus=st.integers(-9, 9)),
    st.builds(Encoding, kind=st.just("nibbles"), size=st.integers(1, 8), high=st.integers(0, 15)),
    st.builds(Encoding, kind=st.just("hex"), size=st.sampled_from([2, 4, 8]), order=st.sampled_from(["big", "little"]),
              case=st.sampled_from(["upper", "lower"])),
    st.builds(Encoding, kind=st.just("decimal"), size=st.integers(4, 9), least=st.integers(3, 4), point=st.integers(0,
    2), sign=st.sampled_from(["none", "minus", "always"])),
)  # fmt: skip


@st.composite
def limited(draw: st.DrawFn) -> Encoding:
    encoding = draw(BASES)
    limits = sorted(draw(st.lists(st.integers(*encoding.bounds), min_size=2, max_size=2)))
    return replace(encoding, limits=(limits[0], limits[1]))


ENCODINGS = BASES | limited()


@given(limited(), st.data())
def test_a_field_with_limits_holds_the_numbers_within_them_and_no_other(
    encoding: Encoding, data: st.DataObject
) -> None:
    assert encoding.limits is not None
    low, high = encoding.limits
    defined = Number(GreedyBytes, encoding)
    number = data.draw(st.integers(low, high))
    raw = encoding.encode(number)
    assert raw == defined.build(number)
    assert encoding.decode(raw) == defined.parse(raw) == number
    assert all(bits >> byte & 1 for bits, byte in zip(encoding.alphabet, raw, strict=False))
    for beyond in (low - 1, high + 1):
        with pytest.raises(ValueError, match="beyond the limits"):
            encoding.encode(beyond)
        with pytest.raises(ConstructError):
            defined.build(beyond)
        try:
            raw = replace(encoding, limits=None).encode(beyond)
        except ValueError:
            continue
        assert encoding.decode(raw) is None
        with pytest.raises(ConstructError):
            defined.parse(raw)


@pytest.mark.parametrize(
    ("encoding", "shown"),
    [
        (Encoding("unsigned", 1, limits=(0, 127)), [range(128)]),
        (Encoding("unsigned", 1, plus=128, limits=(0, 127)), [range(128, 256)]),
        (Encoding("unsigned", 2, limits=(0x0100, 0x02FF)), [range(1, 3), range(256)]),
        (Encoding("unsigned", 2, order="little", limits=(0x0110, 0x0120)), [range(0x10, 0x21), range(1, 2)]),
        (Encoding("signed", 1, limits=(-2, 1)), [b"\xfe\xff\x00\x01"]),
        (Encoding("bcd", 1, limits=(8, 11)), [b"\x08\x09\x10\x11"]),
        (Encoding("decimal", 3, 3, limits=(100, 129)), [b"1", b"012", b"0123456789"]),
        (Encoding("decimal", 2, 2, sign="always", limits=(-32, -10)), [b"-", b"123", b"0123456789"]),
        (Encoding("hex", 4, order="little", limits=(0x0A00, 0x0BFF)), [*[b"0123456789ABCDEF"] * 2, b"0", b"AB"]),
        (Encoding("hex", 2, special={0: b"*"}), [b"*0123456789ABCDEF", b"0123456789ABCDEF"]),
        (Encoding("unsigned", 1, special={0: b"**"}, limits=(0, 9)), [b"*" + bytes(range(10)), b"*"]),
    ],
)  # fmt: skip
def test_the_bytes_that_a_field_may_have_are_those_within_its_limits_and_of_its_own_forms(
    encoding: Encoding, shown: list[bytes]
) -> None:
    """Worked out by hand."""
    assert encoding.alphabet == [bits_of(bytes(values)) for values in shown]


@given(ENCODINGS, st.integers(-(10**6), 10**9))
def test_a_number_is_written_alike_by_both_and_read_back_or_refused_by_both(encoding: Encoding, number: int) -> None:
    defined = Number(GreedyBytes, encoding)
    try:
        raw = encoding.encode(number)
    except ValueError:
        with pytest.raises(ConstructError):
            defined.build(number)
        return
    assert raw == defined.build(number)
    assert encoding.decode(raw) == defined.parse(raw) == number
    low, high = encoding.bounds
    assert low <= number <= high
    least, most = encoding.widths
    assert least <= len(raw) <= most


@given(ENCODINGS, st.binary(max_size=9) | st.from_regex(rb"\A[-+]?[0-9A-Fa-f.]{1,9}\Z"))
def test_any_bytes_hold_the_same_number_for_both_or_none(encoding: Encoding, raw: bytes) -> None:
    try:
        expected = Number(GreedyBytes, encoding).parse(raw)
    except ConstructError:
        expected = None
    assert encoding.decode(raw) == expected


@given(st.sampled_from(["xor", "sum", "sum-16", "lrc", *catalogue()]), st.binary(max_size=40))
def test_a_check_is_the_same_computed_bit_by_bit(kind: str, data: bytes) -> None:
    assert summer(kind)(data) == check_of(kind, data)


@pytest.mark.parametrize("name", SHIPPED)
def test_a_message_that_a_protocol_cannot_carry_is_a_defect(name: str) -> None:
    protocol = find(name)
    for request in (
        Request(1, "read", 70_000, 1), Request(999, "read", 1, 1), Request(1, "write", 1, 1, (10**6,)),
        Request(1, "write", 1, 2, (1,)), Request(1, "save", 0, 0), Request(1, "read", 1, 17),
    ):  # fmt: skip
        with pytest.raises(Defect):
            protocol.encode_request(request)

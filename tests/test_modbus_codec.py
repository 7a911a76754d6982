"""The hot MODBUS codec and its definition are one: the same bytes from the same fields, the same fields from any bytes.

The definition itself is held to the standard in test_modbus_reference.
"""

from __future__ import annotations

from typing import Any

import pytest
from crccheck.crc import Crc16Modbus
from hypothesis import example, given
from hypothesis import strategies as st

from busim.dialects import READ, WRITE, ModbusRtu, Reply, Request
from busim.dialects.modbus_reference import build_reply, build_request, parse_reply, parse_request

CODEC = ModbusRtu()
MOST = {3: 125, 6: 1, 16: 123}  # registers in one request: MODBUS Application Protocol V1.1b3, 6.3 and 6.12

word = st.integers(0, 0xFFFF)
byte = st.integers(0, 0xFF)


def reads() -> st.SearchStrategy[Request]:
    return st.builds(Request, st.integers(0, 247), st.just(READ), word, st.integers(1, 125), st.just(()))


def writes() -> st.SearchStrategy[Request]:
    values = st.lists(word, min_size=1, max_size=123).map(tuple)
    return st.tuples(st.integers(0, 247), word, values).map(
        lambda drawn: Request(drawn[0], WRITE, drawn[1], len(drawn[2]), drawn[2])
    )


def as_fields(request: Request) -> dict[str, Any]:
    id, verb, key, count, values = request
    if verb == READ:
        return {"address": id, "function": 3, "start": key, "count": count}
    if count == 1:
        return {"address": id, "function": 6, "register": key, "value": values[0]}
    return {"address": id, "function": 16, "start": key, "values": list(values)}


def as_request(fields: dict[str, Any] | None) -> Request | None:
    """What the codec is to make of the definition's fields; a quantity out of range is no message to it."""
    if fields is None:
        return None
    id, function = fields["address"], fields["function"]
    if function == 6:
        return Request(id, WRITE, fields["register"], 1, (fields["value"],))
    count = fields["count"] if function == 3 else len(fields["values"])
    if not 1 <= count <= MOST[function]:
        return None
    return Request(id, READ if function == 3 else WRITE, fields["start"], count, tuple(fields.get("values", ())))


def as_reply(fields: dict[str, Any] | None, request: Request) -> Reply | None:
    """What the codec is to make of the definition's fields when it waits for the reply to `request`."""
    asked = as_fields(request)
    if fields is None or fields["address"] != request.id or fields["function"] != asked["function"]:
        return None
    if "exception" in fields:
        return Reply(request.id, request.verb, request.key, (), fields["exception"])
    if request.verb == READ:
        values = tuple(fields["values"])
        return Reply(request.id, READ, request.key, values) if len(values) == request.count else None
    expected = asked if request.count == 1 else {**asked, "count": request.count}
    expected.pop("values", None)
    return Reply(request.id, WRITE, request.key, request.values) if fields == expected else None


def sealed(body: bytes) -> bytes:
    return body + Crc16Modbus.calc(body).to_bytes(2, "little")


def good_reply(request: Request) -> bytes:
    """As the definition builds it, with values 0, 1, 2 ... for a read."""
    asked = as_fields(request)
    if request.verb == READ:
        return build_reply({"address": request.id, "function": 3, "values": list(range(request.count))})
    return build_reply(asked if request.count == 1 else {**asked, "count": request.count})


def refusal(request: Request, code: int) -> bytes:
    return build_reply({"address": request.id, "function": as_fields(request)["function"], "exception": code})


def nearly_requests() -> st.SearchStrategy[bytes]:
    """Bodies that look like requests, most of them wrong in one place."""
    counts = st.one_of(st.integers(0, 130), word)
    short = st.builds(
        lambda id, function, key, count, more: bytes((id, function)) + key.to_bytes(2) + count.to_bytes(2) + more,
        byte,
        st.sampled_from([3, 6, 16, 4]),
        word,
        counts,
        st.binary(max_size=3),
    )
    many = st.builds(
        lambda id, key, count, size, values: (
            bytes((id, 16)) + key.to_bytes(2) + count.to_bytes(2) + bytes((size,)) + values
        ),
        byte,
        word,
        st.integers(0, 5),
        st.integers(0, 10),
        st.binary(max_size=11),
    )
    return st.one_of(short, many, st.binary(max_size=260))


@given(reads() | writes())
def test_both_build_the_same_request(request: Request) -> None:
    frame = CODEC.encode_request(request)
    assert frame == build_request(as_fields(request))
    assert len(frame) == CODEC.request_bytes(request)
    assert CODEC.decode_request(frame) == request


@given(nearly_requests())
@example(bytes.fromhex("01 10 00 01 00 01 02 00 0A"))
@example(bytes.fromhex("01 10 00 01 00 00 00"))
@example(bytes.fromhex("01 10 00 01 00 7B F6") + bytes(246))
@example(bytes.fromhex("01 10 00 01 00 7C F8") + bytes(248))
@example(bytes.fromhex("01 03 00 00 00 7D"))
@example(bytes.fromhex("01 03 00 00 00 7E"))
def test_both_read_the_same_request_in_any_bytes(body: bytes) -> None:
    for raw in (body, sealed(body)):
        assert CODEC.decode_request(raw) == as_request(parse_request(raw))


@given(reads() | writes(), st.lists(word, min_size=125, max_size=125))
def test_both_build_and_read_the_same_reply(request: Request, drawn: list[int]) -> None:
    request = request._replace(id=max(request.id, 1))  # nobody answers a broadcast
    values = tuple(drawn[: request.count]) if request.verb == READ else request.values
    reply = Reply(request.id, request.verb, request.key, values)
    frame = CODEC.encode_reply(reply)
    if request.verb == READ:
        assert frame == build_reply({"address": request.id, "function": 3, "values": list(values)})
    else:
        assert frame == good_reply(request)
    assert len(frame) == CODEC.reply_bytes(request)
    assert CODEC.decode_reply(frame, request) == reply


@given(reads() | writes(), st.data())
def test_both_read_the_same_reply_in_any_bytes(request: Request, data: st.DataObject) -> None:
    request = request._replace(id=max(request.id, 1))
    body = bytearray(data.draw(st.sampled_from([good_reply(request), refusal(request, 2)]))[:-2])
    for _ in range(data.draw(st.integers(0, 2))):  # a fault or two behind a good check
        at = data.draw(st.one_of(st.integers(0, min(6, len(body))), st.integers(0, len(body))))
        wrong = data.draw(st.one_of(st.sampled_from([b"", b"\x00", b"\x02"]), st.binary(max_size=3)))
        body[at : at + data.draw(st.integers(0, 2))] = wrong
    for raw in (bytes(body), sealed(bytes(body))):
        assert CODEC.decode_reply(raw, request) == as_reply(parse_reply(raw), request)


@given(reads() | writes(), st.data())
def test_both_judge_alike_a_reply_with_one_wrong_byte_behind_a_good_check(
    request: Request, data: st.DataObject
) -> None:
    request = request._replace(id=max(request.id, 1))
    for frame in (good_reply(request), refusal(request, 2)):
        for at in range(min(len(frame) - 2, 6)):
            for value in {0, frame[at] ^ 1, frame[at] ^ 0x80, data.draw(byte)}:
                raw = sealed(frame[:at] + bytes((value,)) + frame[at + 1 : -2])
                assert CODEC.decode_reply(raw, request) == as_reply(parse_reply(raw), request)


@pytest.mark.parametrize("code", [1, 2, 3, 4, 6])
@given(request=reads() | writes())
def test_a_refusal_reaches_the_one_who_asked(request: Request, code: int) -> None:
    request = request._replace(id=max(request.id, 1))
    assert CODEC.decode_reply(refusal(request, code), request) == Reply(request.id, request.verb, request.key, (), code)


@pytest.mark.parametrize(
    "frame",
    [
        "01 03 00 6B 00 03",
        "01 06 00 01 00 03",
        "01 10 00 01 00 02 04 00 0A 01 02",
        "01 10 00 01 00 01 02 00 0A",
    ],
)
def test_an_answer_has_the_function_that_was_asked(frame: str) -> None:
    # V1.1b3, 6.3, 6.6, 6.12 and 7: the function comes back, in a refusal with its highest bit set
    request = CODEC.decode_request(sealed(bytes.fromhex(frame)))
    assert request is not None
    function = bytes.fromhex(frame)[1]
    values = request.values or (0,) * request.count
    good = CODEC.encode_reply(Reply(request.id, request.verb, request.key, values))
    assert good[1] == function
    refused = CODEC.encode_reply(Reply(request.id, request.verb, request.key, values, 2))
    assert refused[1] == function | 0x80

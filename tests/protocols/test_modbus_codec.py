"""The hot MODBUS codec and its definition are one: the same bytes from the same fields, the same fields from any bytes.

The definition itself is held to the standard in test_modbus_reference.
"""

from __future__ import annotations

from typing import Any

import pytest
from crccheck.crc import Crc16Modbus
from hypothesis import example, given
from hypothesis import strategies as st

from busim.protocols import ASSIGN, OTHER, READ, SEARCH, UNKNOWN, WRITE, ModbusRtu, Reply, Request
from busim.protocols.modbus_reference import build_reply, build_request, parse_reply, parse_request

CODEC = ModbusRtu()
MOST_READ = 125  # registers in one request: MODBUS Application Protocol V1.1b3, 6.3
FRAME = range(4, 257)  # bytes of a whole frame: V1.02, 2.3

word = st.integers(0, 0xFFFF)
byte = st.integers(0, 0xFF)


def reads() -> st.SearchStrategy[Request]:
    to, size, form = st.integers(0, 247), st.integers(1, MOST_READ), st.sampled_from([0, 3])
    return st.builds(Request, to, st.just(READ), word, size, st.just(()), form)


def writes() -> st.SearchStrategy[Request]:
    """One register by either function, several by function 16."""
    drawn = st.one_of(st.lists(word, min_size=1, max_size=1), st.lists(word, min_size=1, max_size=123)).map(tuple)
    return st.tuples(st.integers(0, 247), word, drawn, st.booleans()).flatmap(
        lambda it: st.sampled_from([0, 6, 16] if len(it[2]) == 1 else [0, 16]).map(
            lambda form: Request(it[0], WRITE, it[1], len(it[2]), it[2], form)
        )
    )


def function_of(request: Request) -> int:
    """The function that asks for it: the one named, else write single register where one is enough."""
    return request.form or (3 if request.verb == READ else 6 if request.size == 1 else 16)


def as_fields(request: Request) -> dict[str, Any]:
    address, function = request.address, function_of(request)
    if function == 3:
        return {"address": address, "function": 3, "start": request.key, "count": request.size}
    if function == 6:
        return {"address": address, "function": 6, "register": request.key, "value": request.values[0]}
    return {"address": address, "function": 16, "start": request.key, "values": list(request.values)}


def as_request(raw: bytes) -> Request | None:
    """The expected result of the codec for these bytes: the definition's fields, or the treatment of a non-request."""
    fields = parse_request(raw)
    if fields is None:
        return as_something_else(raw)
    address, function = fields["address"], fields["function"]
    if function == 65:
        asked = tuple(fields[name] for name in ("low", "high", "only", "slots"))
        return Request(0, SEARCH, 0, 0, (*asked, fields["tenths"] * 100_000, fields["draw"]), 65)
    if function == 66:
        return Request(0, ASSIGN, 0, 0, (fields["serial"], fields["new_address"]), 66)
    if function == 6:
        return Request(address, WRITE, fields["register"], 1, (fields["value"],), 6)
    if function == 3:
        count = fields["count"]
        return Request(address, READ, fields["start"], count if count <= MOST_READ else 0, (), 3)
    return Request(address, WRITE, fields["start"], len(fields["values"]), tuple(fields["values"]), 16)


def as_something_else(raw: bytes) -> Request | None:
    """A damaged frame is nothing; a device owes a sound one a refusal (V1.1b3, 7) unless it is somebody's answer."""
    if len(raw) not in FRAME or sealed(raw[:-2]) != raw:
        return None
    address, function = raw[0], raw[1]
    if function in (65, 66) and parse_reply(raw) is not None:
        return OTHER  # the answer of a camera to a search: cameras that share its bus ID hear it under their own
    if function not in (3, 6, 16) and function < 0x80:
        return Request(address, UNKNOWN, 0, 0, (), function)
    if function == 16 and len(raw) > 8 and len(raw) == 9 + raw[6]:  # quantity and byte count do not agree
        return Request(address, WRITE, int.from_bytes(raw[2:4]), 0, (), 16)
    return OTHER


def as_reply(fields: dict[str, Any] | None, request: Request) -> Reply | None:
    """The expected result of the codec for the definition's fields, if it waits for the reply to `request`."""
    asked = as_fields(request)
    if fields is None or fields["address"] != request.address or fields["function"] != asked["function"]:
        return None
    good = Reply(request.address, request.verb, request.key, request.values, 0, request.form)
    if "exception" in fields:
        return good._replace(values=(), refused=fields["exception"])
    if request.verb == READ:
        values = tuple(fields["values"])
        return good._replace(values=values) if len(values) == request.size else None
    return good if fields == answer_fields(request) else None


def answer_fields(request: Request) -> dict[str, Any]:
    """Of the good answer to a write: function 6 repeats the value, 16 the count (V1.1b3, 6.6 and 6.12)."""
    asked = as_fields(request)
    if asked.pop("values", None) is not None:
        asked["count"] = request.size
    return asked


def sealed(body: bytes) -> bytes:
    return body + Crc16Modbus.calc(body).to_bytes(2, "little")


def good_reply(request: Request) -> bytes:
    """As the definition builds it, with values 0, 1, 2 ... for a read."""
    if request.verb == READ:
        return build_reply({"address": request.address, "function": 3, "values": list(range(request.size))})
    return build_reply(answer_fields(request))


def refusal(request: Request, code: int) -> bytes:
    return build_reply({"address": request.address, "function": function_of(request), "exception": code})


def nearly_requests() -> st.SearchStrategy[bytes]:
    """Bodies that look like requests, most of them wrong in one place."""
    counts = st.one_of(st.integers(0, 130), word)
    short = st.builds(
        lambda address, function, key, count, more: (
            bytes((address, function)) + key.to_bytes(2) + count.to_bytes(2) + more
        ),
        byte,
        st.sampled_from([3, 6, 16, 4, 0x83]),
        word,
        counts,
        st.binary(max_size=3),
    )
    many = st.builds(
        lambda address, key, count, size, values: (
            bytes((address, 16)) + key.to_bytes(2) + count.to_bytes(2) + bytes((size,)) + values
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
    assert CODEC.decode_request(frame) == request._replace(form=function_of(request))


@given(nearly_requests())
@example(bytes.fromhex("01 10 00 01 00 01 02 00 0A"))
@example(bytes.fromhex("01 10 00 01 00 00 00"))
@example(bytes.fromhex("01 10 00 01 00 02 02 00 0A"))
@example(bytes.fromhex("01 10 00 01 00 02"))
@example(bytes.fromhex("01 83 02"))
@example(bytes.fromhex("01 07"))
@example(bytes.fromhex("01 03 00 00 00 00"))
@example(bytes.fromhex("01 10 00 01 00 7B F6") + bytes(246))
@example(bytes.fromhex("01 10 00 01 00 7C F8") + bytes(248))
@example(bytes.fromhex("01 03 00 00 00 7D"))
@example(bytes.fromhex("01 03 00 00 00 7E"))
def test_both_read_the_same_request_in_any_bytes(body: bytes) -> None:
    for raw in (body, sealed(body)):
        assert CODEC.decode_request(raw) == as_request(raw)


@pytest.mark.parametrize("function", [65, 66])
@pytest.mark.parametrize("address", [0, 1, 247])
@given(more=st.binary(min_size=2, max_size=20))
@example(more=bytes(14))  # as long as a search
@example(more=bytes(4))  # as long as the answer to it
@example(more=bytes(5))  # as long as an assignment and its answer
def test_both_read_the_same_in_our_own_functions_at_any_length(address: int, function: int, more: bytes) -> None:
    raw = sealed(bytes((address, function)) + more)
    assert CODEC.decode_request(raw) == as_request(raw)


def test_a_search_for_one_camera_alone_is_refused_and_half_a_search_for_all_is_not_an_answer() -> None:
    # V1.1b3, 7: a function that the device does not have in this form; V1.02, 2.2: a reply carries an address from 1 on
    assert CODEC.decode_request(sealed(bytes((9, 65)) + bytes(14))) == Request(9, UNKNOWN, 0, 0, (), 65)
    assert CODEC.decode_request(sealed(bytes((0, 65)) + bytes(4))) == Request(0, UNKNOWN, 0, 0, (), 65)
    assert CODEC.decode_request(sealed(bytes((9, 65)) + bytes(4))) is OTHER


@given(reads() | writes(), st.data())
def test_both_read_the_same_request_with_one_wrong_byte(request: Request, data: st.DataObject) -> None:
    frame = build_request(as_fields(request))
    for at in range(min(len(frame) - 2, 8)):
        for value in {0, frame[at] ^ 1, frame[at] ^ 0x80, data.draw(byte)}:
            body = frame[:at] + bytes((value,)) + frame[at + 1 : -2]
            for raw in (sealed(body), body + frame[-2:], sealed(body[:-1]), sealed(body + b"\0")):
                assert CODEC.decode_request(raw) == as_request(raw)


@given(reads() | writes(), st.lists(word, min_size=125, max_size=125))
def test_both_build_and_read_the_same_reply(request: Request, drawn: list[int]) -> None:
    request = request._replace(address=max(request.address, 1))  # nobody answers a broadcast
    values = tuple(drawn[: request.size]) if request.verb == READ else request.values
    reply = Reply(request.address, request.verb, request.key, values, 0, request.form)
    frame = CODEC.encode_reply(reply)
    if request.verb == READ:
        assert frame == build_reply({"address": request.address, "function": 3, "values": list(values)})
    else:
        assert frame == good_reply(request)
    assert len(frame) == CODEC.reply_bytes(request)
    assert CODEC.decode_reply(frame, request) == reply


@given(reads() | writes(), st.data())
def test_both_read_the_same_reply_in_any_bytes(request: Request, data: st.DataObject) -> None:
    request = request._replace(address=max(request.address, 1))
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
    request = request._replace(address=max(request.address, 1))
    for frame in (good_reply(request), refusal(request, 2)):
        for at in range(min(len(frame) - 2, 6)):
            for value in {0, frame[at] ^ 1, frame[at] ^ 0x80, data.draw(byte)}:
                raw = sealed(frame[:at] + bytes((value,)) + frame[at + 1 : -2])
                assert CODEC.decode_reply(raw, request) == as_reply(parse_reply(raw), request)


@pytest.mark.parametrize("code", [1, 2, 3, 4, 6])
@given(request=reads() | writes())
def test_a_refusal_reaches_the_one_who_asked(request: Request, code: int) -> None:
    request = request._replace(address=max(request.address, 1))
    refused = Reply(request.address, request.verb, request.key, (), code, request.form)
    assert CODEC.decode_reply(refusal(request, code), request) == refused
    # the camera says the function that was asked, whether it names it or repeats what was to be written
    assert CODEC.encode_reply(refused._replace(form=function_of(request))) == refusal(request, code)
    assert CODEC.encode_reply(refused._replace(values=request.values)) == refusal(request, code)


@given(
    byte.filter(lambda address: address > 0), st.integers(1, 127).filter(lambda function: function not in (3, 6, 16))
)
def test_a_request_that_no_camera_knows_is_refused_with_its_function(address: int, function: int) -> None:
    request = CODEC.decode_request(sealed(bytes((address, function, 0, 1))))
    assert request == Request(address, UNKNOWN, 0, 0, (), function)
    refused = Reply(address, UNKNOWN, 0, (), 1, function)  # illegal function: V1.1b3, 7
    assert CODEC.encode_reply(refused) == build_reply({"address": address, "function": function, "exception": 1})


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
    values = request.values or (0,) * request.size
    reply = Reply(request.address, request.verb, request.key, values, 0, request.form)
    assert CODEC.encode_reply(reply)[1] == function
    assert CODEC.encode_reply(reply._replace(refused=2))[1] == function | 0x80
    assert CODEC.encode_reply(reply._replace(refused=3, values=()))[1] == function | 0x80

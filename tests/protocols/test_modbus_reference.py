"""The definition of MODBUS RTU frames against the standard's own examples and an independent CRC."""

from __future__ import annotations

from typing import Any

import pytest
from crccheck.crc import Crc16Modbus
from hypothesis import given
from hypothesis import strategies as st

from busim.foundation.errors import Defect
from busim.protocols.modbus_reference import build_reply, build_request, check_of, parse_reply, parse_request

# MODBUS Application Protocol V1.1b3, 6.3 (read), 6.6 (write one) and 6.12 (write many) give the PDUs; the CRC is
# derived (CRC-16/MODBUS of the RevEng catalogue).
REQUESTS = {
    "01 03 00 6B 00 03 74 17": {"address": 1, "function": 3, "start": 0x6B, "count": 3},
    "01 06 00 01 00 03 98 0B": {"address": 1, "function": 6, "register": 1, "value": 3},
    "01 10 00 01 00 02 04 00 0A 01 02 92 30": {"address": 1, "function": 16, "start": 1, "values": [0x000A, 0x0102]},
}
REPLIES = {
    "01 03 06 02 2B 00 00 00 64 05 7A": {"address": 1, "function": 3, "values": [555, 0, 100]},
    "01 06 00 01 00 03 98 0B": {"address": 1, "function": 6, "register": 1, "value": 3},
    "01 10 00 01 00 02 10 08": {"address": 1, "function": 16, "start": 1, "count": 2},
}
# V1.1b3, 7: the exception codes (from memory). The function comes back with its highest bit set.
EXCEPTIONS = (1, 2, 3, 4, 5, 6, 8, 10, 11)

word = st.integers(0, 0xFFFF)


def requests() -> st.SearchStrategy[dict[str, Any]]:
    to = st.integers(0, 247)
    values = st.lists(word, min_size=1, max_size=123)
    return st.one_of(
        st.fixed_dictionaries({"address": to, "function": st.just(3), "start": word, "count": word}),
        st.fixed_dictionaries({"address": to, "function": st.just(6), "register": word, "value": word}),
        st.fixed_dictionaries({"address": to, "function": st.just(16), "start": word, "values": values}),
    )


def replies() -> st.SearchStrategy[dict[str, Any]]:
    by = st.integers(1, 247)
    values = st.lists(word, min_size=1, max_size=125)
    refused, code = st.integers(1, 127), st.sampled_from(EXCEPTIONS)
    return st.one_of(
        st.fixed_dictionaries({"address": by, "function": st.just(3), "values": values}),
        st.fixed_dictionaries({"address": by, "function": st.just(6), "register": word, "value": word}),
        st.fixed_dictionaries({"address": by, "function": st.just(16), "start": word, "count": word}),
        st.fixed_dictionaries({"address": by, "function": refused, "exception": code}),
    )


def sealed(body: str) -> bytes:
    """The body with the check of an independent library."""
    raw = bytes.fromhex(body)
    return raw + Crc16Modbus.calc(raw).to_bytes(2, "little")


def test_the_check_is_the_catalogue_s() -> None:
    assert check_of(b"123456789") == 0x4B37  # RevEng catalogue of parametrised CRC algorithms, CRC-16/MODBUS


def test_the_check_of_the_standard_s_example_and_its_residue() -> None:
    # MODBUS over Serial Line V1.02, p. 41: 02 07 gives register 0x1241, on the wire 41 12, residue 0
    assert check_of(b"\x02\x07") == 0x1241
    assert check_of(b"\x02\x07\x41\x12") == 0


@given(st.binary(max_size=300))
def test_the_check_agrees_with_an_independent_library(data: bytes) -> None:
    assert check_of(data) == Crc16Modbus.calc(data)


@pytest.mark.parametrize(("frame", "fields"), REQUESTS.items())
def test_the_standard_s_requests_are_read_and_built(frame: str, fields: dict[str, Any]) -> None:
    assert parse_request(bytes.fromhex(frame)) == fields
    assert build_request(fields) == bytes.fromhex(frame)


@pytest.mark.parametrize(("frame", "fields"), REPLIES.items())
def test_the_standard_s_replies_are_read_and_built(frame: str, fields: dict[str, Any]) -> None:
    assert parse_reply(bytes.fromhex(frame)) == fields
    assert build_reply(fields) == bytes.fromhex(frame)


@pytest.mark.parametrize("code", EXCEPTIONS)
@pytest.mark.parametrize("function", [3, 4, 6, 16])
def test_an_exception_names_the_function_refused(function: int, code: int) -> None:
    frame = sealed(f"11 {function | 0x80:02X} {code:02X}")  # V1.1b3, 7: function + 0x80, then the code
    fields = {"address": 0x11, "function": function, "exception": code}
    assert parse_reply(frame) == fields
    assert build_reply(fields) == frame
    assert parse_request(frame) is None


@given(requests())
def test_a_request_survives_the_wire(fields: dict[str, Any]) -> None:
    frame = build_request(fields)
    assert len(frame) <= 256  # V1.02, p. 13
    assert Crc16Modbus.calc(frame) == 0
    assert parse_request(frame) == fields


@given(replies())
def test_a_reply_survives_the_wire(fields: dict[str, Any]) -> None:
    frame = build_reply(fields)
    assert len(frame) <= 256  # V1.02, p. 13
    assert Crc16Modbus.calc(frame) == 0
    assert parse_reply(frame) == fields


def test_every_single_bit_error_is_refused() -> None:
    frames = [(parse_request, bytes.fromhex(frame)) for frame in REQUESTS]
    frames += [(parse_reply, bytes.fromhex(frame)) for frame in REPLIES]
    frames += [(parse_reply, sealed("01 83 02"))]
    for parse, frame in frames:
        assert parse(frame) is not None
        for bit in range(8 * len(frame)):
            damaged = bytearray(frame)
            damaged[bit // 8] ^= 1 << bit % 8
            assert parse(bytes(damaged)) is None, (frame.hex(" "), bit)


@given(requests(), st.binary(min_size=1, max_size=4), st.data())
def test_a_request_with_bytes_too_many_or_too_few_is_no_frame(
    fields: dict[str, Any], more: bytes, data: st.DataObject
) -> None:
    frame = build_request(fields)
    assert parse_request(frame + more) is None
    assert parse_request(frame[: data.draw(st.integers(0, len(frame) - 1))]) is None


@pytest.mark.parametrize(
    "body",
    [
        pytest.param("01 10 00 01 00 02 03 00 0A 01", id="three bytes for two registers"),
        pytest.param("01 10 00 01 00 02 06 00 0A 01 02", id="more bytes promised than sent"),
        pytest.param("01 10 00 01 00 02 04 00 0A 01 02 00 00", id="bytes behind the values"),
        pytest.param("01 10 00 01 00 01 04 00 0A 01 02", id="one register but two values"),
        pytest.param("01 03 00 6B 00", id="half a count"),
        pytest.param("01 03 00 6B 00 03 00", id="a byte behind the count"),
        pytest.param("01 2B 0E 01 00", id="a function that is not defined here"),
        pytest.param("01 10 00 01 00 7C F8" + " 00" * 248, id="more than 256 bytes"),
        pytest.param("", id="a check of nothing"),
    ],
)
def test_a_malformed_request_with_a_good_check_is_refused(body: str) -> None:
    assert parse_request(sealed(body)) is None


@pytest.mark.parametrize(
    "body",
    [
        pytest.param("01 03 05 02 2B 00 00 00", id="an odd byte count"),
        pytest.param("01 03 06 02 2B 00 00", id="fewer bytes than counted"),
        pytest.param("01 03 02 02 2B 00 00", id="more bytes than counted"),
        pytest.param("01 03 FC" + " 00" * 252, id="more than 256 bytes"),
        pytest.param("00 03 02 02 2B", id="an answer to a broadcast"),
        pytest.param("01 80 01", id="an exception to no function"),
        pytest.param("01 83 00", id="an exception with no code"),
        pytest.param("01 83", id="an exception without its code"),
        pytest.param("01 83 02 00", id="an exception with two codes"),
    ],
)
def test_a_malformed_reply_with_a_good_check_is_refused(body: str) -> None:
    assert parse_reply(sealed(body)) is None


@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused_without_an_error(data: bytes) -> None:
    for parse in (parse_request, parse_reply):
        parse(data)
        parse(data + Crc16Modbus.calc(data).to_bytes(2, "little"))


@pytest.mark.parametrize(
    "fields",
    [
        {},
        {"address": 1},
        {"address": 1, "function": 3},
        {"address": 1, "function": 5, "start": 0, "count": 1},
        {"address": 256, "function": 3, "start": 0, "count": 1},
        {"address": 1, "function": 3, "start": -1, "count": 1},
        {"address": 1, "function": 3, "start": 0x10000, "count": 1},
        {"address": "1", "function": 3, "start": 0, "count": 1},
        {"address": 1, "function": 6, "register": 0, "value": None},
        {"address": 1, "function": 6, "register": 0, "value": 1.5},
        {"address": 1, "function": 16, "start": 0, "values": 7},
        {"address": 1, "function": 16, "start": 0, "values": [0] * 124},
        {"address": 1, "function": 16, "start": 0, "values": [0] * 128},
    ],
)
def test_fields_that_make_no_frame_are_a_defect(fields: dict[str, Any]) -> None:
    with pytest.raises(Defect):
        build_request(fields)


def test_a_reply_longer_than_a_frame_is_a_defect() -> None:
    with pytest.raises(Defect):
        build_reply({"address": 1, "function": 3, "values": [0] * 126})

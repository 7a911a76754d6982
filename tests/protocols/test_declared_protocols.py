"""Declared protocols against standards and the RevEng catalogue, and their behaviour on a line."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

import pytest
from crccheck import crc as crccheck
from hypothesis import given
from hypothesis import strategies as st
from places import SCENARIOS

import busim.protocols
from busim.foundation.diagnostics import Findings
from busim.foundation.errors import Defect, UserError
from busim.plan import read as read_plan
from busim.protocols import (
    OTHER,
    READ,
    STATUS,
    UNKNOWN,
    WRITE,
    DeclaredProtocol,
    Frame,
    Reply,
    Request,
    find,
    names,
    read_text,
)
from busim.protocols.declared.sums import catalogue, summer
from busim.recording.trace import BURST, CHANGE, EXCHANGE, Record
from busim.simulator.world import build

CHARACTER, TAIL = 286_458, 130_208  # ns of a character, and of what lies behind the middle of its stop bit
BAUD = 38400.0

# RevEng catalogue of parametrised CRC algorithms: check values over "123456789"
REVENG = {
    "CRC-16/MODBUS": 0x4B37, "CRC-16/IBM-3740": 0x29B1, "CRC-16/XMODEM": 0x31C3, "CRC-16/IBM-SDLC": 0x906E,
    "CRC-8/SMBUS": 0xF4, "CRC-8/MAXIM-DOW": 0xA1, "CRC-8/TECH-3250": 0x97,
}  # fmt: skip


def declared(**changed: Any) -> DeclaredProtocol:
    """A small text protocol, with what is changed."""
    declaration = {
        "busim-protocol": 1, "name": "small", "title": "small", "literals": "text",
        "framing": {"kind": "marks", "start": "<", "end": "{0D}"}, "frame": "{address}{message}",
        "address": {"first": 1, "last": 99, "broadcast": 0},
        "fields": {"address": {"as": "decimal", "digits": 2}, "key": {"as": "decimal", "digits": 2},
                   "value": {"as": "decimal", "digits": 4}, "reason": {"as": "decimal", "digits": 1}},
        "operations": {"read": {"request": "R{key}", "reply": "r{key}={value}"},
                       "write": {"request": "W{key}={value}", "reply": "w{key}"}},
        "refusal": "E{reason}",
    }  # fmt: skip
    return read_text(json.dumps({key: value for key, value in {**declaration, **changed}.items() if value is not None}))


# -- outside checks -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "value"), REVENG.items())
def test_the_check_values_of_the_catalogue_come_out_through_a_declaration(name: str, value: int) -> None:
    """The text 123456789 as a message; what stands between marks and check is covered."""
    size = 2 if value > 0xFF else 1
    protocol = read_text(json.dumps({
        "busim-protocol": 1, "name": "crc", "title": "crc", "literals": "text",
        "framing": {"kind": "length", "counts": "behind", "longest": 64}, "frame": "{length}{address}{message}{check}",
        "check": {"kind": name, "start": "address"}, "address": {"first": 1, "last": 9},
        "fields": {"length": {"as": "unsigned", "bytes": 1}, "address": {"as": "decimal", "digits": 1},
                   "check": {"as": "unsigned", "bytes": size}},
        "operations": {"save": {"request": "23456789", "reply": "9"}},
    }))  # fmt: skip
    raw = protocol.encode_request(Request(1, "save", 0, 0))
    assert raw[1:] == b"123456789" + value.to_bytes(size)


@pytest.mark.parametrize("name", ["CRC-16/MODBUS", "CRC-16/XMODEM", "CRC-16/KERMIT", "CRC-8/SMBUS", "CRC-32/ISO-HDLC"])
@given(data=st.binary(max_size=50))
def test_checks_agree_with_an_independent_library(name: str, data: bytes) -> None:
    theirs = {"CRC-16/MODBUS": "Crc16Modbus", "CRC-16/XMODEM": "Crc16Xmodem", "CRC-16/KERMIT": "Crc16Kermit",
              "CRC-8/SMBUS": "Crc8Smbus", "CRC-32/ISO-HDLC": "Crc32IsoHdlc"}  # fmt: skip
    assert summer(name)(data) == getattr(crccheck, theirs[name]).calc(data)


def test_the_catalogue_is_there_by_its_own_names() -> None:
    assert set(REVENG) < set(catalogue())
    assert len(catalogue()) > 100


MODBUS_ASCII = """
busim-protocol: 1
name: modbus-ascii
title: MODBUS over Serial Line V1.02, 2.5.2
literals: hex
framing: {kind: marks, start: "3A", end: "0D 0A", hex: true, longest: 513}
frame: "{address} {message} {check}"
check: {kind: lrc}
address: {first: 1, last: 247, broadcast: 0}
fields:
  address: {as: unsigned, bytes: 1}
  key: {as: unsigned, bytes: 2}
  count: {as: unsigned, bytes: 2}
  size: {as: unsigned, bytes: 1}
  value: {as: unsigned, bytes: 2}
  reason: {as: unsigned, bytes: 1}
  check: {as: unsigned, bytes: 1}
operations:
  read: {request: "03 {key} {count}", reply: "03 {size} {values}", refusal: "83 {reason}", most: 120}
  write one: {does: write, request: "06 {key} {value}", reply: "06 {key} {value}", refusal: "86 {reason}"}
  write: {request: "10 {key} {count} {size} {values}", reply: "10 {key} {count}", refusal: "90 {reason}", most: 120}
"""


def test_modbus_ascii_is_a_declaration() -> None:
    protocol = read_text(MODBUS_ASCII)
    # MODBUS over Serial Line V1.02 (LRC): the read of MODBUS Application Protocol V1.1b3, 6.3, in ASCII mode; the
    # values of its reply are 555, 0, 100. The LRC of the reply is derived.
    request = Request(1, READ, 0x6B, 3, (), 1)
    assert protocol.encode_request(request) == b":0103006B00038E\r\n"
    assert protocol.decode_request(b":0103006B00038E\r\n") == request
    raw = bytes.fromhex("010306022B00000064")
    reply = b":" + (raw + bytes((-sum(raw) % 256,))).hex().upper().encode() + b"\r\n"
    assert protocol.decode_reply(reply, request) == Reply(1, READ, 0x6B, (555, 0, 100), 0, 1)
    assert protocol.encode_reply(Reply(1, READ, 0x6B, (555, 0, 100), 0, 1)) == reply
    assert protocol.decode_reply(b":01830279"[:-2] + b"7A\r\n", request) == Reply(1, READ, 0x6B, (), 2, 1)
    assert protocol.decode_request(b":0103006b00038E\r\n") is None  # capital letters, V1.02, 2.5.2


NMEA = """
busim-protocol: 1
name: sentences
title: sentences as in NMEA 0183
literals: text
framing: {kind: marks, start: "$", end: "{0D}{0A}", longest: 82}
frame: "{address}{message}*{check}"
check: {kind: xor, start: address, to: message}
address: {first: 1, last: 2}
fields:
  address: {as: words, words: {"1": GP, "2": GN}}
  latitude: {as: decimal, digits: 9, point: 5, holds: value}
  longitude: {as: decimal, digits: 10, point: 5, holds: value}
  north: {as: words, words: {"0": "N", "1": "S"}, holds: value}
  east: {as: words, words: {"0": "E", "1": "W"}, holds: value}
  time: {as: decimal, digits: 6, holds: value}
  valid: {as: words, words: {"0": "V", "1": "A"}, holds: value}
  check: {as: hex, digits: 2}
operations:
  status:
    key: 0
    request: "GLQ"
    reply: "GLL,{latitude},{north},{longitude},{east},{time},{valid}"
"""


def test_an_nmea_sentence_is_a_declaration() -> None:
    protocol = read_text(NMEA)
    # NMEA 0183: the check is the XOR of the characters between $ and *; the sentence is from memory
    sentence = b"$GPGLL,5300.97914,N,00259.98174,E,125926,A*28\r\n"
    values = (530097914, 0, 25998174, 0, 125926, 1)
    reply = protocol.decode_reply(sentence, Request(1, STATUS, 0, 6))
    assert reply == Reply(1, STATUS, 0, values)
    assert protocol.encode_reply(reply) == sentence


def test_escapes_are_those_of_slip_and_of_hdlc_like_framing() -> None:
    fields = {"address": {"as": "unsigned", "bytes": 1}, "value": {"as": "unsigned", "bytes": 2}}
    same: dict[str, Any] = {
        "literals": "hex", "fields": fields, "address": {"first": 1, "last": 255}, "refusal": None,
        "operations": {"preset": {"request": "01 {value}", "reply": "02"}},
    }  # fmt: skip
    # RFC 1055: END 300 octal, ESC 333; they go out as ESC 334 and ESC 335
    escape = {"byte": "DB", "replaced": {"C0": "DC", "DB": "DD"}}
    slip = declared(framing={"kind": "marks", "start": "C0", "end": "C0", "escape": escape}, **same)
    request = Request(0xC0, "preset", 0, 1, (0xDBC0,), 1)
    assert slip.encode_request(request) == bytes.fromhex("C0 DB DC 01 DB DD DB DC C0")
    assert slip.decode_request(slip.encode_request(request)) == request
    # RFC 1662, 4.2: flag 7E, escape 7D, the escaped byte with its sixth bit flipped
    escape = {"byte": "7D", "xor": 0x20}
    hdlc = declared(framing={"kind": "marks", "start": "7E", "end": "7E", "escape": escape}, **same)
    request = Request(0x7E, "preset", 0, 1, (0x7D01,), 1)
    assert hdlc.encode_request(request) == bytes.fromhex("7E 7D 5E 01 7D 5D 01 7E")
    assert hdlc.decode_request(hdlc.encode_request(request)) == request
    assert hdlc.decode_request(bytes.fromhex("7E 7D 5E 01 7D 21 01 7E")) is None  # 01 needs no escape


@pytest.mark.parametrize(
    ("field", "number", "written"),
    [
        ({"as": "bcd", "bytes": 2}, 1234, "12 34"),
        ({"as": "bcd", "bytes": 2, "order": "little"}, 1234, "34 12"),
        ({"as": "decimal", "digits": 4}, 7, "30 30 30 37"),
        ({"as": "decimal", "digits": 4, "least_digits": 1, "sign": "always"}, -7, "2D 37"),
        ({"as": "decimal", "digits": 4, "point": 2}, 1234, "31 32 2E 33 34"),
        ({"as": "hex", "digits": 4}, 0xBEEF, "42 45 45 46"),
        ({"as": "hex", "digits": 4, "order": "little", "case": "lower"}, 0xBEEF, "65 66 62 65"),
        ({"as": "nibbles", "bytes": 4}, 0xBEEF, "0B 0E 0E 0F"),
        ({"as": "nibbles", "bytes": 2, "high": 3, "order": "little"}, 0x1F, "3F 31"),
        ({"as": "seven", "bytes": 2}, 300, "02 2C"),
        ({"as": "signed", "bytes": 2}, -2, "FF FE"),
        ({"as": "unsigned", "bytes": 1, "times": 2, "plus": 128}, 3, "86"),
        ({"as": "words", "words": {"5": "IRS"}}, 5, "49 52 53"),
    ],
)
def test_numbers_are_written_as_the_file_says(field: dict[str, Any], number: int, written: str) -> None:
    """Worked out by hand."""
    protocol = read_text(json.dumps({
        "busim-protocol": 1, "name": "n", "title": "n", "literals": "hex",
        "framing": {"kind": "length", "counts": "message"},
        "frame": "{length} {address} {message}", "address": {"first": 1, "last": 9},
        "fields": {"length": {"as": "unsigned", "bytes": 1}, "address": {"as": "unsigned", "bytes": 1}, "value": field},
        "operations": {"preset": {"request": "7E {value}", "reply": "7F"}},
    }))  # fmt: skip
    raw = protocol.encode_request(Request(1, "preset", 0, 1, (number,)))
    assert raw[3:] == bytes.fromhex(written)
    assert protocol.decode_request(raw) == Request(1, "preset", 0, 1, (number,), 1)


# -- what a protocol can say ---------------------------------------------------------------------------------


def test_steps_up_and_down_are_two_messages_of_one_verb() -> None:
    protocol = declared(
        operations={
            "read": {"request": "R{key}", "reply": "r{key}={value}"},
            "up": {"does": "step", "values": [1], "request": "U{key}", "reply": "u"},
            "down": {"does": "step", "values": [-1], "request": "D{key}", "reply": "d"},
            "run": {"does": "start", "request": "G{key}{value}", "reply": "g"},
            "halt": {"does": "stop", "request": "H{key}", "reply": "h"},
            "who": {"does": "identify", "request": "?", "reply": "!{value}", "key": 9},
            "new": {"does": "change-id", "request": "N{value}", "reply": "n"},
        }
    )
    for request, raw in {
        Request(7, "step", 3, 1, (1,)): b"<07U03\r", Request(7, "step", 3, 1, (-1,)): b"<07D03\r",
        Request(7, "start", 4, 1, (20,)): b"<07G040020\r", Request(7, "stop", 4, 0): b"<07H04\r",
        Request(7, "identify", 9, 1): b"<07?\r", Request(7, "change-id", 0, 1, (8,)): b"<07N0008\r",
    }.items():  # fmt: skip
        assert protocol.encode_request(request) == raw
        found = protocol.decode_request(raw)
        assert found is not None
        assert found[:5] == request[:5]


MARKED = {
    "literals": "hex", "framing": {"kind": "length", "counts": "message"},
    "frame": "{length} {address} {message} {check}", "check": {"kind": "xor"},
    "fields": {
        **{name: {"as": "unsigned", "bytes": 1} for name in ("length", "address", "count", "value", "check", "reason")},
        "key": {"as": "unsigned", "bytes": 1, "limits": [0, 126]},
        "write_key": {"as": "unsigned", "bytes": 1, "holds": "key", "plus": 128, "limits": [0, 126]},
    },
    "operations": {
        "read": {"request": "{key} {count}", "reply": "{key} {values}", "most": 8},
        "write": {"request": "{write_key} {values}", "reply": "{write_key} {count}", "most": 8},
    },
    "refusal": "FF {reason}",
}  # fmt: skip


def test_a_write_may_be_the_key_with_its_highest_bit_set() -> None:
    """By hand: key 5 is 05 in a read, and 85 in a write."""
    protocol = declared(**MARKED)
    read, write = Request(7, READ, 5, 2, (), 1), Request(7, WRITE, 5, 1, (9,), 2)
    for request, raw in ((read, "02 07 05 02 02"), (write, "02 07 85 09 89")):
        assert protocol.encode_request(request) == bytes.fromhex(raw)
        assert protocol.decode_request(bytes.fromhex(raw)) == request
    for key in (-1, 127):
        with pytest.raises(Defect):
            protocol.encode_request(read._replace(key=key))


def test_limits_are_what_tells_two_requests_apart() -> None:
    fields = {**MARKED["fields"], "key": {"as": "unsigned", "bytes": 1, "limits": [0, 128]}}
    with pytest.raises(Findings, match="it can be taken for the request of `read`"):
        declared(**{**MARKED, "fields": fields})


BYTE = {"as": "unsigned", "bytes": 1}
SILENT = {"literals": "hex", "framing": {"kind": "silence", "quiet": "3.5 characters"}, "frame": "{address} {message}",
          "fields": {"address": BYTE, "value": BYTE, "count": BYTE}, "refusal": None}  # fmt: skip


@pytest.mark.parametrize(
    ("many", "alone"),
    [("{count} {values}", "02 {value} 07"), ("{values} 05", "{value} 06 05")],
)
def test_requests_that_are_alike_with_several_values_are_refused(many: str, alone: str) -> None:
    """Two values in the one are the other: 02 x 07, and x 06 05."""
    operations = {
        "write": {"request": many, "key": 1, "most": 4, "reply": "A0"},
        "other": {"does": "write", "request": alone, "key": 2, "reply": "A1"},
    }
    with pytest.raises(Findings, match="it can be taken for the request of `write`"):
        declared(**SILENT, operations=operations)


def test_a_message_may_be_its_values_alone() -> None:
    operations = {"write": {"request": "{values}", "key": 3, "most": 4, "reply": "A0"}}
    sealed = {
        "frame": "{address} {message} 99 {check}",
        "check": {"kind": "xor"},
        "fields": {**SILENT["fields"], "check": BYTE},
    }
    protocol = declared(**{**SILENT, **sealed}, operations=operations)
    request = Request(7, WRITE, 3, 2, (5, 6), 1)
    assert protocol.decode_request(protocol.encode_request(request)) == request


def test_a_mark_that_an_id_can_hold_is_refused_beside_a_shorter_broadcast() -> None:
    address = {"first": 1, "last": 99, "broadcast": 0, "broadcast_as": "*"}
    fields = {"address": {"as": "hex", "digits": 2}, "value": {"as": "decimal", "digits": 2}}
    operations = {"preset": {"request": "!{value}", "reply": "p"}}
    with pytest.raises(Findings, match="it may hold the end mark"):
        declared(
            framing={"kind": "marks", "start": "<", "end": "A"}, address=address, fields=fields, operations=operations,
            refusal=None,
        )  # fmt: skip


def test_cameras_on_a_line_are_read_and_written_with_such_keys(tmp_path: Path) -> None:
    hall = SCENARIOS / "escaped-frames"
    mats = (hall / "mats.yaml").read_text()
    keys = (
        ('"01 {key} {count}"', '"{key} {count}"'), ('"81 {key} {values}"', '"{key} {values}"'),
        ('"02 {key} {values}"', '"{write_key} {values}"'), ('"82 {key} {count}"', '"{write_key} {count}"'),
        ("key: {as: unsigned, bytes: 1}", "key: {as: unsigned, bytes: 1, limits: [0, 126]}\n"
         "  write_key: {as: unsigned, bytes: 1, holds: key, plus: 128, limits: [0, 126]}"),
    )  # fmt: skip
    for old, new in keys:
        assert old in mats
        mats = mats.replace(old, new, 1)
    (tmp_path / "mats.yaml").write_text(mats)
    plan = (hall / "plan.yaml").read_text().replace("turnaround: 20..60 ms", "turnaround: 2..6 ms")  # none is late
    (tmp_path / "plan.yaml").write_text(plan)
    records: list[Record] = []
    world = build(read_plan(tmp_path / "plan.yaml"), 1, records.append)
    world.start()
    world.kernel.advance(20 * 10**9)
    sent = [record[6] for record in records if record[0] == BURST]
    assert any(frame[3:4] == b"\x80" for frame in sent)  # C0, tag, ID, and iris, key 0, written
    commands = [record for record in records if record[0] == EXCHANGE and record[5] == "command"]
    assert len(commands) > 3
    assert {record[12] for record in commands} == {"ok"}
    assert {record[3] for record in records if record[0] == CHANGE} >= {"iris", "gain"}


def test_a_broadcast_may_have_a_form_of_its_own() -> None:
    protocol = declared(address={"first": 1, "last": 99, "broadcast": 0, "broadcast_as": "**"})
    assert protocol.encode_request(Request(0, WRITE, 5, 1, (9,))) == b"<**W05=0009\r"
    assert protocol.decode_request(b"<**W05=0009\r") == Request(0, WRITE, 5, 1, (9,), 2)
    assert protocol.decode_request(b"<00W05=0009\r") is None


def test_refusals_are_silence_where_the_file_has_none() -> None:
    protocol = declared(refusal=None)
    assert protocol.encode_reply(Reply(7, READ, 5, (), 2, 1)) == b""


def test_a_sound_message_that_nobody_knows_is_told_from_a_damaged_one() -> None:
    protocol = find("tagged")
    raw = bytearray(protocol.encode_request(Request(7, READ, 5, 1, (), 1 | 33 << 8)))
    raw[4] = 0x77
    raw[-2:] = crccheck.Crc16Xmodem.calc(bytes(raw[:-2])).to_bytes(2)
    unknown = protocol.decode_request(bytes(raw))
    assert unknown == Request(7, UNKNOWN, 0, 0, (), 33 << 8)
    refusal = protocol.encode_reply(Reply(7, UNKNOWN, 0, (), 1, unknown.form))
    assert refusal[2] == 33  # the tag comes back
    raw[-1] ^= 1
    assert protocol.decode_request(bytes(raw)) is None
    assert protocol.decode_request(refusal) is OTHER


def test_each_request_goes_out_with_a_tag_of_its_own_and_only_its_own_reply_counts() -> None:
    protocol = find("tagged")
    finder = protocol.stream_framer()
    request = Request(7, READ, 5, 1)
    sent = [finder.ask(request, protocol.encode_request(request)) for _ in range(3)]
    assert len({raw[2] for raw in sent}) == 3
    replies = []
    for raw in sent:
        asked = protocol.decode_request(raw)
        assert asked is not None
        replies.append(protocol.encode_reply(Reply(7, READ, 5, (500,), 0, asked.form)))
    assert finder.feed(replies[0], 0) is None  # too late: two others were asked since
    assert finder.held == len(replies[0])
    found = finder.feed(replies[2], 1)
    assert found is not None
    assert found.values == (500,)


def test_names_are_those_that_come_with_busim() -> None:
    assert {"modbus-rtu", "text", "short", "tagged"} <= set(names())
    with pytest.raises(UserError, match="no protocol") as caught:
        find("modbus-rut")
    assert caught.value.mend == "did you mean `modbus-rtu`?"


@pytest.mark.parametrize("name", ["text", "short", "tagged"])
def test_loading_a_declaration_takes_less_than_20_ms(name: str) -> None:
    text = (Path(busim.protocols.__file__).parent / "declarations" / f"{name}.yaml").read_text(encoding="utf-8")
    read_text(text)
    times = []
    for _ in range(7):
        began = time.process_time()
        read_text(text)
        times.append(time.process_time() - began)
    assert min(times) < 0.02


# -- on a wire ----------------------------------------------------------------------------------------------


def heard(protocol: DeclaredProtocol, pieces: list[tuple[int, bytes, int]]) -> list[Frame]:
    """The frames that a framer cuts from (ns of silence before, bytes, flags), and from the silence after them."""
    framer = protocol.wire_framer(BAUD, CHARACTER, TAIL)
    frames: list[Frame] = []
    at = 10**9
    for quiet, data, flags in pieces:
        first = at + quiet
        due = framer.quiet_until
        if due is not None and due < first - CHARACTER + TAIL:
            frames += framer.elapsed(due)
        frames += framer.feed(data, first, first + (len(data) - 1) * CHARACTER, flags)
        at = first + len(data) * CHARACTER
    if framer.quiet_until is not None:
        frames += framer.elapsed(framer.quiet_until)
    assert framer.quiet_until is None
    return frames


@pytest.mark.parametrize("name", ["text", "short", "tagged"])
@given(st.data())
def test_a_frame_is_whole_with_its_last_byte_however_it_comes_in(name: str, data: st.DataObject) -> None:
    protocol = find(name)
    assert isinstance(protocol, DeclaredProtocol)
    raw = protocol.encode_request(Request(7, READ, 5, 1))
    cuts = sorted(data.draw(st.sets(st.integers(1, len(raw) - 1))))
    pieces = [raw[begin:end] for begin, end in zip([0, *cuts], [*cuts, len(raw)], strict=True)]
    frames = heard(protocol, [(0, piece, 0) for piece in pieces])
    assert frames == [(raw, 10**9 + (len(raw) - 1) * CHARACTER, "")]


@pytest.mark.parametrize("name", ["text", "short", "tagged"])
def test_two_frames_in_one_burst_end_each_at_its_own_instant(name: str) -> None:
    protocol = find(name)
    assert isinstance(protocol, DeclaredProtocol)
    raw = protocol.encode_request(Request(7, READ, 5, 1))
    frames = heard(protocol, [(0, raw + raw, 0)])
    ends = [10**9 + (count * len(raw) - 1) * CHARACTER for count in (1, 2)]
    assert [(data, flaw) for data, _, flaw in frames] == [(raw, ""), (raw, "")]
    assert [abs(at - end) < 2 for (_, at, _), end in zip(frames, ends, strict=True)] == [True, True]


@pytest.mark.parametrize("name", ["text", "short", "tagged"])
def test_a_flagged_character_spoils_its_frame_and_no_other(name: str) -> None:
    protocol = find(name)
    assert isinstance(protocol, DeclaredProtocol)
    raw = protocol.encode_request(Request(7, READ, 5, 1))
    frames = heard(protocol, [(0, raw, 0), (10**6, raw[:3], 0), (0, raw[3:4], 1), (0, raw[4:], 0), (10**6, raw, 0)])
    assert [(data, flaw) for data, _, flaw in frames] == [(raw, ""), (raw, "flagged"), (raw, "")]


@pytest.mark.parametrize("name", ["text", "short", "tagged"])
def test_half_a_frame_is_forgotten_after_a_while(name: str) -> None:
    protocol = find(name)
    assert isinstance(protocol, DeclaredProtocol)
    raw = protocol.encode_request(Request(7, READ, 5, 1))
    frames = heard(protocol, [(0, raw[:5], 0), (10**8, raw, 0)])
    assert [(data, flaw) for data, _, flaw in frames] == [(raw[:5], "half"), (raw, "")]


@pytest.mark.parametrize("name", ["text", "short", "tagged"])
def test_a_fork_goes_on_from_the_same_state_for_itself(name: str) -> None:
    protocol = find(name)
    assert isinstance(protocol, DeclaredProtocol)
    raw = protocol.encode_request(Request(7, READ, 5, 1))
    framer = protocol.wire_framer(BAUD, CHARACTER, TAIL)
    assert framer.feed(raw[:4], 0, 3 * CHARACTER, 0) == ()
    other = framer.fork(50)
    assert other.quiet_until == (framer.quiet_until or 0) + 50
    framer.clear()
    at = 4 * CHARACTER + 50
    frames = other.feed(raw[4:], at, at + (len(raw) - 5) * CHARACTER, 0)
    assert [(data, flaw) for data, _, flaw in frames] == [(raw, "")]
    assert framer.quiet_until is None


def test_the_weak_sum_of_short_takes_two_damaged_bytes_for_good() -> None:
    """The sum of the bytes is the same: common practice, no source."""
    protocol = find("short")
    raw = bytearray(protocol.encode_request(Request(7, READ, 5, 1)))
    raw[1], raw[3] = raw[1] + 1, raw[3] - 1
    assert protocol.decode_request(bytes(raw)) == Request(8, READ, 4, 1, (), 1)

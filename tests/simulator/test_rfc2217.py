"""COM port control (RFC 2217): the server's bytes against the text of the RFC, and any bytes a client may send."""

from __future__ import annotations

import time
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import minimalmodbus
import pytest
import serial
from hypothesis import given, settings
from hypothesis import strategies as st
from policy_plans import BUS_ID, MS, Lane, plan_of
from serving import Client, Served, read_frame, value_frame
from test_telnet import PIECES, near_valid

from busim.foundation.units import CharFormat
from busim.recording.trace import BURST, CHANGE, open_trace
from busim.runtime.session import replay
from busim.simulator.converters.rfc2217 import (
    MANNERS,
    Action,
    Answer,
    Apply,
    Break,
    ComClient,
    ComPort,
    Forward,
    Hold,
    Purge,
    Signal,
)

AGREE = bytes.fromhex("FF FB 2C")  # IAC WILL COM-PORT-OPTION
AGREED = bytes.fromhex("FF FD 2C") + bytes.fromhex("FF FA 2C 6B B0 FF F0")  # DO, and how the modem lines stand


class Box:
    """A port with clients that have agreed on COM port control."""

    def __init__(self, manner: str = "applies", baud: Fraction | int = 9600, format: str = "8N1") -> None:
        self.port = ComPort(Fraction(baud), CharFormat.parse(format), manner)
        self.client = ComClient(self.port)
        self.client.receive(AGREE)

    def ask(self, text: str) -> tuple[str, list[Action]]:
        """Send a client's bytes (hex); returns the answer (hex) and all other effects."""
        actions = self.client.receive(bytes.fromhex(text))
        answer = b"".join(action.data for action in actions if isinstance(action, Answer))
        return answer.hex(" ").upper(), [action for action in actions if not isinstance(action, Answer)]


def test_the_box_agrees_on_binary_and_no_go_ahead_by_their_numbers_and_refuses_echo() -> None:
    """RFC 856: option 0; RFC 858: option 3; RFC 857: echo is 1. IAC 255, WILL 251, WONT 252, DO 253."""
    assert Box().ask("FF FD 00 FF FD 03 FF FD 01") == ("FF FB 00 FF FB 03 FF FC 01", [])


# -- RFC 2217, section 3: commands 0 to 12, answers 100 more; a client's bytes and the server's ----------------------
SETTINGS = [
    ("FF FA 2C 01 00 00 96 00 FF F0", "FF FA 2C 65 00 00 96 00 FF F0", 38400, "8N1"),
    ("FF FA 2C 01 00 00 FF FF 00 FF F0", "FF FA 2C 65 00 00 FF FF 00 FF F0", 65280, "8N1"),
    ("FF FA 2C 02 05 FF F0", "FF FA 2C 66 05 FF F0", 9600, "5N1"),
    ("FF FA 2C 02 06 FF F0", "FF FA 2C 66 06 FF F0", 9600, "6N1"),
    ("FF FA 2C 02 07 FF F0", "FF FA 2C 66 07 FF F0", 9600, "7N1"),
    ("FF FA 2C 03 02 FF F0", "FF FA 2C 67 02 FF F0", 9600, "8O1"),
    ("FF FA 2C 03 03 FF F0", "FF FA 2C 67 03 FF F0", 9600, "8E1"),
    ("FF FA 2C 03 04 FF F0", "FF FA 2C 67 04 FF F0", 9600, "8M1"),
    ("FF FA 2C 03 05 FF F0", "FF FA 2C 67 05 FF F0", 9600, "8S1"),
    ("FF FA 2C 04 02 FF F0", "FF FA 2C 68 02 FF F0", 9600, "8N2"),
    ("FF FA 2C 04 03 FF F0", "FF FA 2C 68 03 FF F0", 9600, "8N1.5"),
]


@pytest.mark.parametrize(("asked", "answer", "baud", "format"), SETTINGS)
def test_a_setting_is_applied_and_answered(asked: str, answer: str, baud: int, format: str) -> None:
    assert Box().ask(asked) == (answer, [Apply(Fraction(baud), CharFormat.parse(format))])


SAME = [
    ("FF FA 2C 02 08 FF F0", "FF FA 2C 66 08 FF F0"),
    ("FF FA 2C 03 01 FF F0", "FF FA 2C 67 01 FF F0"),
    ("FF FA 2C 04 01 FF F0", "FF FA 2C 68 01 FF F0"),
    ("FF FA 2C 01 00 00 25 80 FF F0", "FF FA 2C 65 00 00 25 80 FF F0"),
    # value 0 asks for what there is
    ("FF FA 2C 01 00 00 00 00 FF F0", "FF FA 2C 65 00 00 25 80 FF F0"),
    ("FF FA 2C 02 00 FF F0", "FF FA 2C 66 08 FF F0"),
    ("FF FA 2C 03 00 FF F0", "FF FA 2C 67 01 FF F0"),
    ("FF FA 2C 04 00 FF F0", "FF FA 2C 68 01 FF F0"),
    # a value that the port refuses is answered with its present value
    ("FF FA 2C 02 09 FF F0", "FF FA 2C 66 08 FF F0"),
    ("FF FA 2C 03 06 FF F0", "FF FA 2C 67 01 FF F0"),
    ("FF FA 2C 04 04 FF F0", "FF FA 2C 68 01 FF F0"),
    ("FF FA 2C 01 FF FF FF FF FF FF FF FF FF F0", "FF FA 2C 65 00 00 25 80 FF F0"),
]


@pytest.mark.parametrize(("asked", "answer"), SAME)
def test_what_changes_nothing_is_answered_by_what_the_port_has(asked: str, answer: str) -> None:
    assert Box().ask(asked) == (answer, [])


@pytest.mark.parametrize(
    ("option", "answer"),
    [("00", "FF FB 00"), ("03", "FF FB 03"), ("01", "FF FC 01"), ("22", "FF FC 22")],
    ids=["binary, RFC 856", "suppress go ahead, RFC 858", "echo, RFC 857", "line mode, RFC 1184"],
)
def test_a_port_agrees_to_be_transparent_and_to_nothing_else(option: str, answer: str) -> None:
    assert Box().ask(f"FF FD {option}") == (answer, [])


def test_settings_add_up() -> None:
    box = Box()
    box.ask("FF FA 2C 01 00 00 96 00 FF F0")
    assert box.ask("FF FA 2C 03 03 FF F0")[1] == [Apply(Fraction(38400), CharFormat.parse("8E1"))]


CONTROLS = [
    (5, 5, [Break(True)]), (6, 6, []), (4, 6, []),  # break on, off (it is), asked
    (9, 9, [Signal("dtr", False)]), (8, 8, []), (7, 8, []),
    (12, 12, [Signal("rts", False)]), (11, 11, []), (10, 11, []),
    (0, 1, []), (1, 1, []), (2, 1, []), (3, 1, []), (17, 1, []), (19, 1, []),  # no flow control, whatever is asked
    (13, 14, []), (14, 14, []), (15, 14, []), (16, 14, []), (18, 14, []),
]  # fmt: skip


@pytest.mark.parametrize(("value", "answer", "actions"), CONTROLS)
def test_control_is_done_and_answered(value: int, answer: int, actions: list[Action]) -> None:
    assert Box().ask(f"FF FA 2C 05 {value:02X} FF F0") == (f"FF FA 2C 69 {answer:02X} FF F0", actions)


def test_a_break_goes_on_until_it_is_ended() -> None:
    box = Box()
    box.ask("FF FA 2C 05 05 FF F0")
    assert box.ask("FF FA 2C 05 04 FF F0") == ("FF FA 2C 69 05 FF F0", [])
    assert box.ask("FF FA 2C 05 06 FF F0") == ("FF FA 2C 69 06 FF F0", [Break(False)])


def test_who_leaves_with_the_break_on_lets_go_of_it_and_nobody_else_does() -> None:
    box = Box()
    other = ComClient(box.port)
    box.ask("FF FA 2C 05 05 FF F0")
    assert other.gone() == []
    assert box.client.gone() == [Break(False)]
    assert box.client.gone() == []


@pytest.mark.parametrize(("value", "purge"), [(1, (True, False)), (2, (False, True)), (3, (True, True))])
def test_purge_is_done_and_answered(value: int, purge: tuple[bool, bool]) -> None:
    assert Box().ask(f"FF FA 2C 0C {value:02X} FF F0") == (f"FF FA 2C 70 {value:02X} FF F0", [Purge(*purge)])


def test_the_signature_is_told_to_who_asks_and_not_to_who_tells() -> None:
    assert Box().ask("FF FA 2C 00 FF F0") == ("FF FA 2C 64 62 75 73 69 6D FF F0", [])  # busim
    assert Box().ask("FF FA 2C 00 61 FF F0") == ("", [])


def test_suspend_and_resume_hold_and_free_what_goes_to_this_client() -> None:
    box = Box()
    assert box.ask("FF FA 2C 08 FF F0") == ("", [Hold(True)])
    assert box.ask("FF FA 2C 08 FF F0") == ("", [])
    assert box.ask("FF FA 2C 09 FF F0") == ("", [Hold(False)])


def test_a_mask_of_ff_is_doubled_and_answered() -> None:
    assert Box().ask("FF FA 2C 0B FF FF FF F0") == ("FF FA 2C 6F FF FF FF F0", [])
    assert Box().ask("FF FA 2C 0A 1E FF F0") == ("FF FA 2C 6E 1E FF F0", [])


def test_line_states_are_told_as_far_as_the_mask_goes_and_at_first_not_at_all() -> None:
    """The first line state mask is 0, the first modem state mask 255 (RFC 2217)."""
    box = Box()
    assert box.client.line_state(8) == b""
    box.ask("FF FA 2C 0A 18 FF F0")
    assert box.client.line_state(8).hex(" ").upper() == "FF FA 2C 6A 08 FF F0"
    assert box.client.line_state(16 | 8 | 4).hex(" ").upper() == "FF FA 2C 6A 18 FF F0"
    assert box.client.line_state(4) == b""


def test_modem_lines_are_told_when_the_option_is_agreed_and_to_who_asks() -> None:
    client = ComClient(ComPort(Fraction(9600), CharFormat.parse("8N1"), "applies"))
    assert b"".join(action.data for action in client.receive(AGREE) if isinstance(action, Answer)) == AGREED
    box = Box()
    assert box.ask("FF FA 2C 07 FF F0") == ("FF FA 2C 6B B0 FF F0", [])
    box.ask("FF FA 2C 0B 10 FF F0")
    assert box.ask("FF FA 2C 07 FF F0") == ("FF FA 2C 6B 10 FF F0", [])


def test_before_the_option_is_agreed_commands_do_nothing() -> None:
    client = ComClient(ComPort(Fraction(9600), CharFormat.parse("8N1"), "applies"))
    assert client.receive(bytes.fromhex("FF FA 2C 01 00 00 96 00 FF F0")) == []


def test_data_and_commands_keep_their_order() -> None:
    actions = Box().client.receive(b"ab" + bytes.fromhex("FF FA 2C 0C 02 FF F0") + b"c\xff\xff")
    assert actions == [
        Forward(b"ab"), Purge(False, True), Answer(bytes.fromhex("FF FA 2C 70 02 FF F0")), Forward(b"c\xff"),
    ]  # fmt: skip


# -- boxes that do otherwise -----------------------------------------------------------------------------------------
def test_one_that_acknowledges_says_yes_and_changes_nothing() -> None:
    box = Box("acknowledges")
    assert box.ask("FF FA 2C 01 00 00 96 00 FF F0") == ("FF FA 2C 65 00 00 96 00 FF F0", [])
    assert box.ask("FF FA 2C 03 03 FF F0") == ("FF FA 2C 67 03 FF F0", [])
    assert box.ask("FF FA 2C 01 00 00 00 00 FF F0") == ("FF FA 2C 65 00 00 96 00 FF F0", [])
    assert (box.port.baud, str(box.port.format)) == (9600, "8N1")


def test_one_that_answers_with_another_value_tells_what_it_has_and_changes_nothing() -> None:
    box = Box("answers-other")
    assert box.ask("FF FA 2C 01 00 00 96 00 FF F0") == ("FF FA 2C 65 00 00 25 80 FF F0", [])


def test_a_silent_one_agrees_to_the_option_and_answers_nothing() -> None:
    client = ComClient(ComPort(Fraction(9600), CharFormat.parse("8N1"), "silent"))
    assert client.receive(AGREE) == [Answer(bytes.fromhex("FF FD 2C"))]
    for command in ("00", "01 00 00 96 00", "05 05", "0C 03", "07", "0A FF FF"):
        assert client.receive(bytes.fromhex(f"FF FA 2C {command} FF F0")) == []
    assert client.receive(b"data") == [Forward(b"data")]


# -- bad input -------------------------------------------------------------------------------------------------------
wrong_sizes = st.builds(
    lambda what, value: bytes.fromhex("FF FA 2C") + bytes((what,)) + value.replace(b"\xff", b"\xff\xff") + b"\xff\xf0",
    st.integers(0, 120), st.binary(max_size=6),
)  # fmt: skip
segments = st.lists(st.sampled_from(PIECES) | wrong_sizes | st.binary(max_size=3), max_size=20).map(b"".join)


def done(manner: str, *parts: bytes) -> tuple[list[Action], tuple[object, ...]]:
    port = ComPort(Fraction(9600), CharFormat.parse("8E1"), manner)
    client = ComClient(port)
    actions: list[Action] = []
    for part in (AGREE, *parts):
        for action in client.receive(part):
            if isinstance(action, Forward) and actions and isinstance(actions[-1], Forward):
                actions[-1] = Forward(actions[-1].data + action.data)
            else:
                actions.append(action)
    return actions, (port.baud, port.format, port.breaking, dict(port.signals))


@settings(max_examples=500)
@given(
    segments | near_valid | st.binary(max_size=120), st.sampled_from(MANNERS), st.lists(st.integers(0, 300), max_size=9)
)
def test_any_bytes_do_the_same_at_any_split_and_raise_nothing(data: bytes, manner: str, cuts: list[int]) -> None:
    whole = done(manner, data)
    places = sorted({0, *(cut for cut in cuts if cut < len(data)), len(data)})
    assert done(manner, *(data[a:b] for a, b in pairwise(places))) == whole
    assert done(manner, *(data[n : n + 1] for n in range(len(data)))) == whole
    answered = b"".join(action.data for action in whole[0] if isinstance(action, Answer))
    assert len(answered) <= 4 * len(data) + 64  # a small input never causes a large output


# a client that opens a port, sets all of it, purges, and sends data with an FF in it
SESSION = bytes.fromhex(
    "FF FB 2C FF FD 2C FF FB 00 FF FD 00 FF FA 2C 00 FF F0 FF FA 2C 01 00 00 FF FF 00 FF F0 FF FA 2C 02 08 FF F0 "
    "FF FA 2C 03 03 FF F0 FF FA 2C 04 01 FF F0 FF FA 2C 0A FF FF FF F0 FF FA 2C 0C 03 FF F0 01 06 00 FF FF 09 24"
)
CHANGED_TO = (0, 1, 13, 44, 100, 127, 239, 240, 241, 250, 251, 252, 253, 254, 255)


@pytest.mark.parametrize("manner", MANNERS)
def test_a_session_with_any_one_byte_wrong_does_the_same_at_any_split_and_the_next_command_is_heard(
    manner: str,
) -> None:
    """Near-valid: each byte left out, doubled, and changed into others, those of Telnet's commands among them."""
    for place in range(len(SESSION)):
        before, behind = SESSION[:place], SESSION[place + 1 :]
        for middle in (b"", SESSION[place : place + 1] * 2, *(bytes((value,)) for value in CHANGED_TO)):
            near = before + middle + behind
            whole = done(manner, near)
            assert done(manner, *(near[n : n + 1] for n in range(len(near)))) == whole
            assert done(manner, near[:place], near[place:]) == whole
            asked = bytes.fromhex("FF F0") + AGREE + bytes.fromhex("FF FA 2C 01 00 00 00 00 FF F0")
            actions, _ = done(manner, near, asked)
            last = actions[-1].data if actions and isinstance(actions[-1], Answer) else b""
            assert last.startswith(bytes.fromhex("FF FA 2C 65")) is (manner != "silent")


def test_a_setting_without_end_holds_nothing_up_and_sets_nothing() -> None:
    box = Box()
    for _ in range(100):
        assert box.client.receive(bytes.fromhex("FF FA 2C 01") + b"\x00" * 100_000) == []
    actions = box.client.receive(bytes.fromhex("FF F0") + b"data")
    assert actions == [Forward(b"data")]
    assert box.ask("FF FA 2C 01 00 00 96 00 FF F0")[0] == "FF FA 2C 65 00 00 96 00 FF F0"


def test_a_port_takes_only_so_many_rates() -> None:
    box = Box()
    applied = [box.ask(f"FF FA 2C 01 00 01 {n:02X} 80 FF F0")[1] for n in range(200)]
    assert sum(bool(actions) for actions in applied) == 63  # 64 with the one it had at first


# -- on an emulated line, in fast time -------------------------------------------------------------------------------
ASK, REPLY = read_frame(1, BUS_ID), value_frame(1, 1)
TO_9600 = bytes.fromhex("FF FA 2C 01 00 00 25 80 FF F0")
TO_38400 = bytes.fromhex("FF FA 2C 01 00 00 96 00 FF F0")
YES_9600 = bytes.fromhex("FF FA 2C 65 00 00 25 80 FF F0")


def lane(manner: str = "applies", clients: str = "4") -> Lane:
    """The line of `policy_plans` with COM port control; its first client is connected and has agreed."""
    here = Lane(clients, f"rfc2217: {manner}")
    here.open(1)
    here.box.chunk(1, AGREE)
    here.go(10)
    assert bytes(here.got[1]) == (AGREED if manner != "silent" else AGREED[:3])
    here.got[1].clear()
    return here


def changes(here: Lane) -> list[tuple[str, str]]:
    return [record[3:5] for record in here.records if record[0] == CHANGE]


def test_a_wrong_baud_garbles_and_the_right_one_mends_it() -> None:
    here = lane()
    here.box.chunk(1, TO_9600 + ASK)
    here.go(200)
    assert bytes(here.got[1]) == YES_9600
    here.box.chunk(1, TO_38400 + ASK)
    here.go(400)
    assert bytes(here.got[1]).endswith(REPLY)
    assert changes(here) == [("setting", "9600 Bd 8E1"), ("setting", "38400 Bd 8E1")]


@pytest.mark.parametrize("manner", ["acknowledges", "answers-other", "silent"])
def test_a_box_that_does_not_apply_it_stays_at_the_right_baud_whatever_it_says(manner: str) -> None:
    here = lane(manner)
    here.box.chunk(1, TO_9600 + ASK)
    here.go(200)
    said = {"acknowledges": YES_9600, "answers-other": bytes.fromhex("FF FA 2C 65 00 00 96 00 FF F0"), "silent": b""}
    assert bytes(here.got[1]) == said[manner] + REPLY
    assert changes(here) == []


def test_what_was_sent_before_a_change_goes_out_before_it() -> None:
    here = lane()
    here.box.chunk(1, b"\x00" * 100 + TO_9600 + b"\x11" * 3 + TO_38400 + b"\x22")
    here.go(500)
    bursts = [(record[6], record[4] - record[3]) for record in here.records if record[0] == BURST]
    assert bursts == [
        (b"\x00" * 100, round(1100 / 38400 * 1e9)), (b"\x11" * 3, round(33 / 9600 * 1e9)),
        (b"\x22", round(11 / 38400 * 1e9)),
    ]  # fmt: skip


def test_a_setting_that_was_not_there_at_the_start_gets_a_row_of_its_own() -> None:
    here = lane()
    rows: list[Any] = []
    here.world.told = rows.append
    here.box.chunk(1, TO_9600 + b"\x11" + TO_38400 + b"\x22" + TO_9600 + b"\x33")
    here.go(500)
    assert [(row.baud, str(row.format)) for row in rows] == [(9600, "8E1")]
    labels = [record[5] for record in here.records if record[0] == BURST]
    assert labels == [rows[0].row, 1, rows[0].row]


def test_a_break_is_space_on_the_line_for_as_long_as_it_is_held() -> None:
    here = lane()
    here.box.chunk(1, bytes.fromhex("FF FA 2C 05 05 FF F0"))
    here.go(30)
    here.box.chunk(1, ASK)  # lost behind a driver that holds the pair
    here.go(50)
    here.box.chunk(1, bytes.fromhex("FF FA 2C 05 06 FF F0"))
    here.go(100)
    assert [record[3:5] + record[6:7] for record in here.records if record[0] == BURST] == [
        (10_500_000, 50_500_000, b"")
    ]
    here.box.chunk(1, ASK)
    here.go(200)
    assert bytes(here.got[1]).endswith(REPLY)
    assert changes(here) == [("break", "on"), ("break", "off")]


def test_who_leaves_with_the_break_on_frees_the_line() -> None:
    here = lane()
    here.open(2)
    here.box.chunk(1, bytes.fromhex("FF FA 2C 05 05 FF F0"))
    here.go(30)
    here.box.close(1, reset=True)
    here.go(40)
    here.box.chunk(2, ASK)
    here.go(100)
    assert bytes(here.got[2]) == REPLY


def test_a_setting_in_the_middle_of_a_break_is_done() -> None:
    here = lane()
    here.box.chunk(1, bytes.fromhex("FF FA 2C 05 05 FF F0") + TO_9600)
    here.go(50)
    here.box.chunk(1, bytes.fromhex("FF FA 2C 05 06 FF F0") + b"\x11")
    here.go(100)
    assert [record[6] for record in here.records if record[0] == BURST] == [b"", b"", b"\x11"]


def test_dtr_and_rts_are_kept_and_told() -> None:
    here = lane()
    here.box.chunk(1, bytes.fromhex("FF FA 2C 05 09 FF F0 FF FA 2C 05 0C FF F0 FF FA 2C 05 0B FF F0"))
    here.go(50)
    assert changes(here) == [("dtr", "off"), ("rts", "off"), ("rts", "on")]


def test_purging_forgets_what_waits_for_the_line_but_not_what_the_driver_has() -> None:
    here = lane()
    here.box.chunk(1, b"\x55" * 1000)
    here.go(30)
    here.box.chunk(1, bytes.fromhex("FF FA 2C 0C 02 FF F0"))
    here.go(1000)
    sent = sum(len(record[6]) for record in here.records if record[0] == BURST)
    at = 20 * MS // (11 * 10**9 // 38400)  # characters out after the 20 ms between
    assert at <= sent <= at + 20
    assert bytes(here.got[1]) == bytes.fromhex("FF FA 2C 70 02 FF F0")


def test_purging_forgets_what_came_from_the_line_and_was_not_yet_sent_on() -> None:
    here = Lane("4", "rfc2217: applies\n    packing: {idle: 100 ms}")
    here.open(1)
    here.box.chunk(1, AGREE + ASK)
    here.go(50)
    here.box.chunk(1, bytes.fromhex("FF FA 2C 0C 01 FF F0"))
    here.go(300)
    assert bytes(here.got[1]) == AGREED + bytes.fromhex("FF FA 2C 70 01 FF F0")


def test_a_suspended_client_gets_everything_when_it_resumes() -> None:
    here = lane()
    here.box.chunk(1, bytes.fromhex("FF FA 2C 08 FF F0") + ASK)
    here.go(100)
    assert bytes(here.got[1]) == b""
    here.box.chunk(1, bytes.fromhex("FF FA 2C 09 FF F0"))
    here.go(200)
    assert bytes(here.got[1]) == REPLY


def test_a_character_with_an_error_is_told_to_who_set_the_mask() -> None:
    here = lane()
    here.box.chunk(1, bytes.fromhex("FF FA 2C 0A 1C FF F0 FF FA 2C 03 02 FF F0") + b"\x00")
    here.go(100)
    here.got[1].clear()
    here.world.kernel.at(110 * MS, lambda _: here.world.cameras["start"]._outlet.send(b"\x01"))  # sent with even parity
    here.go(200)
    assert bytes(here.got[1]) == bytes.fromhex("FF FA 2C 6A 04 FF F0") + b"\x01"


def test_a_value_of_ff_from_the_line_is_doubled() -> None:
    here = lane()
    here.world.kernel.at(20 * MS, lambda _: here.world.cameras["start"]._outlet.send(b"\x01\xff\x02"))
    here.go(100)
    assert bytes(here.got[1]) == b"\x01\xff\xff\x02"


def test_requests_that_are_arbitrated_go_through_a_port_that_clients_set() -> None:
    here = lane("applies", "{sharing: arbitrated}")
    here.open(2)
    here.box.chunk(2, AGREE + read_frame(2, BUS_ID))
    here.box.chunk(1, ASK)
    here.go(200)
    assert bytes(here.got[1]) == REPLY
    assert bytes(here.got[2]) == AGREED + value_frame(2, 2)


def test_after_a_reboot_the_port_is_as_it_was() -> None:
    here = Lane("4", "rfc2217: applies\n    reboots: [{at: 1 s, down: 1 s}]")
    here.open(1)
    here.box.chunk(1, AGREE + TO_9600 + bytes.fromhex("FF FA 2C 05 05 FF F0"))
    here.go(2500)
    here.open(2)
    here.box.chunk(2, AGREE + ASK)
    here.go(3000)
    assert bytes(here.got[2]) == AGREED + REPLY


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 2), segments), max_size=12), st.sampled_from(MANNERS))
def test_whatever_clients_send_the_line_goes_on_the_same_way_each_time(
    chunks: list[tuple[int, bytes]], manner: str
) -> None:
    outcomes = []
    for _ in range(2):
        here = Lane("4", f"rfc2217: {manner}")
        for client in (1, 2):
            here.open(client)
            here.box.chunk(client, AGREE)
        for number, (client, data) in enumerate(chunks):
            here.go(3 * number)
            here.box.chunk(client, data)
        here.box.close(1, reset=True)
        here.go(5_000)
        here.box.close(2)
        here.go(5_100)
        here.world.finish()
        outcomes.append((here.records, here.got))
    assert outcomes[0] == outcomes[1]


# -- a peer that nobody here wrote: pyserial 3.5 ---------------------------------------------------------------------
@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    with Served(tmp_path, plan_of("4", "rfc2217: applies")) as running:
        yield running


def url(served: Served) -> str:
    host, port = served.address("box")
    return f"rfc2217://{host}:{port}"


def test_pyserial_connects_sets_the_port_exchanges_and_purges(served: Served, tmp_path: Path) -> None:
    with serial.serial_for_url(url(served), baudrate=38400, parity="E", stopbits=1, bytesize=8, timeout=5) as port:
        port.write(ASK)
        assert port.read(len(REPLY)) == REPLY
        port.reset_input_buffer()
        port.reset_output_buffer()
        assert (port.cts, port.dsr, port.cd, port.ri) == (True, True, True, False)
        port.rts = False
        port.send_break(0.05)
        port.baudrate = 9600
        port.timeout = 0.3
        port.write(ASK)
        assert port.read(len(REPLY)) != REPLY
        port.baudrate, port.timeout = 38400, 5
        port.reset_input_buffer()
        port.write(ASK)
        assert port.read(len(REPLY)) == REPLY
    served.interrupt()
    assert replay(tmp_path / "live.trace").difference is None
    with open_trace(tmp_path / "live.trace") as trace:
        told = [record[3:5] for record in trace.records(CHANGE)]
        assert {str(setting.format) for setting in trace.settings.values()} == {"8E1"}
        assert sorted(setting.true_baud for setting in trace.settings.values()) == [9600, 38400]
    assert told == [
        ("rts", "off"), ("break", "on"), ("break", "off"), ("setting", "9600 Bd 8E1"), ("setting", "38400 Bd 8E1"),
    ]  # fmt: skip


def test_pyserial_is_refused_what_the_port_does_not_have(served: Served) -> None:
    with pytest.raises(ValueError, match="remote rejected"):
        serial.serial_for_url(url(served), baudrate=38400, parity="E", xonxoff=True)


@pytest.mark.parametrize(("manner", "error"), [("answers-other", ValueError), ("silent", serial.SerialException)])
def test_pyserial_says_so_where_a_box_does_not_do_as_it_is_told(
    manner: str, error: type[Exception], tmp_path: Path
) -> None:
    with (
        Served(tmp_path, plan_of("4", f"rfc2217: {manner}")) as running,
        pytest.raises(error),
    ):
        serial.serial_for_url(url(running), baudrate=9600, parity="E")


def test_minimalmodbus_reads_and_writes_over_it(served: Served) -> None:
    with serial.serial_for_url(url(served), baudrate=38400, parity="E", timeout=5) as port:
        camera = minimalmodbus.Instrument(port, 2)
        assert camera.read_register(BUS_ID) == 2
        camera.write_register(0, 700, functioncode=6)
        assert camera.read_register(0) == 700
        assert minimalmodbus.Instrument(port, 1).read_registers(0, 3)


def test_two_clients_set_one_port_and_each_sees_its_own_answers(served: Served) -> None:
    with Client(served.address("box")) as one, Client(served.address("box")) as two:
        assert one.ask(AGREE, len(AGREED)) == AGREED
        assert two.ask(AGREE, len(AGREED)) == AGREED
        assert one.ask(TO_9600, len(YES_9600)) == YES_9600
        assert two.ask(bytes.fromhex("FF FA 2C 01 00 00 00 00 FF F0"), len(YES_9600)) == YES_9600
        assert one.ask(TO_38400, 10) == bytes.fromhex("FF FA 2C 65 00 00 96 00 FF F0")
        two.socket.sendall(ASK)
        assert one.hear(len(REPLY)) == two.hear(len(REPLY)) == REPLY


def test_bad_telnet_over_a_real_socket_hurts_nobody_else(served: Served) -> None:
    with Client(served.address("box")) as bad, Client(served.address("box")) as good:
        assert good.ask(AGREE, len(AGREED)) == AGREED
        bad.socket.sendall(AGREE + bytes.fromhex("FF FA 2C") + b"\x01" * 100_000)
        bad.socket.sendall(bytes((255, 253, 1, 255, 251, 2)) * 10_000)
        end = time.monotonic() + 10
        while good.ask(ASK, len(REPLY), patience=0.5) != REPLY:
            assert time.monotonic() < end

"""Telnet as a converter speaks it: the bytes of RFC 854, 855 and 858, in any split, and any other input of a client."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.simulator.converters.telnet import Agreed, Command, Data, Event, Message, Refused, Telnet, escaped, message

OPTIONS = frozenset((0, 3, 44))
IAC, WILL, WONT, DO, DONT, SB, SE = 255, 251, 252, 253, 254, 250, 240


def said(*segments: bytes) -> list[Event]:
    """The events of these pieces, data that follows data joined."""
    telnet = Telnet(OPTIONS)
    events: list[Event] = []
    for piece in segments:
        for event in telnet.receive(piece):
            if isinstance(event, Data) and events and isinstance(events[-1], Data):
                events[-1] = Data(events[-1].data + event.data)
            else:
                events.append(event)
    return events


def answers(events: list[Event]) -> bytes:
    return b"".join(event.answer for event in events if isinstance(event, (Agreed, Refused)))


def test_an_iac_in_the_data_is_doubled_both_ways() -> None:
    """RFC 854: data byte 255 is sent as two."""
    assert escaped(b"\x01\xff\x02") == b"\x01\xff\xff\x02"
    assert said(b"\x01\xff\xff\x02") == [Data(b"\x01\xff\x02")]


def test_all_256_values_survive_both_ways() -> None:
    every = bytes(range(256)) * 2
    assert said(escaped(every)) == [Data(every)]


def test_binary_suppress_go_ahead_and_com_port_are_agreed_on_both_sides() -> None:
    events = said(bytes((IAC, WILL, 0, IAC, DO, 0, IAC, WILL, 3, IAC, DO, 3, IAC, WILL, 44, IAC, DO, 44)))
    assert answers(events) == bytes((IAC, DO, 0, IAC, WILL, 0, IAC, DO, 3, IAC, WILL, 3, IAC, DO, 44, IAC, WILL, 44))


@pytest.mark.parametrize("option", [1, 5, 24, 31, 34, 255])
def test_any_other_option_is_refused(option: int) -> None:
    """RFC 854: WILL is refused by DONT, DO by WONT."""
    events = said(bytes((IAC, WILL, option, IAC, DO, option)))
    assert answers(events) == bytes((IAC, DONT, option, IAC, WONT, option))


def test_what_changes_nothing_is_not_answered() -> None:
    """RFC 854: "a party must not respond to a request to enter some mode it is in already"."""
    assert answers(said(bytes((IAC, WONT, 0, IAC, DONT, 3, IAC, WONT, 99)))) == b""
    assert answers(said(bytes((IAC, WILL, 44)) * 5)) == bytes((IAC, DO, 44))


def test_an_option_can_be_switched_off_again() -> None:
    assert answers(said(bytes((IAC, DO, 44, IAC, DONT, 44)))) == bytes((IAC, WILL, 44, IAC, WONT, 44))


def test_a_flood_of_options_is_answered_so_often_and_no_more() -> None:
    flood = b"".join(bytes((IAC, verb, option)) for option in range(256) for verb in (WILL, WONT, DO, DONT)) * 100
    assert len(answers(said(flood))) <= 256 * 2 * 16 * 3


@settings(max_examples=60)
@given(
    st.lists(st.tuples(st.sampled_from((WILL, WONT, DO, DONT)), st.integers(0, 255)), min_size=1, max_size=30),
    st.integers(1, 200),
    st.integers(1, 50),
)
def test_a_flood_of_whatever_options_is_answered_so_often_and_no_more_at_any_split(
    options: list[tuple[int, int]], times: int, size: int
) -> None:
    flood = b"".join(bytes((IAC, verb, option)) for verb, option in options) * times
    whole = answers(said(flood))
    sides = {(verb in (DO, DONT), option) for verb, option in options}
    assert len(whole) <= 3 * min(16 * len(sides), len(options) * times)
    assert answers(said(*(flood[n : n + size] for n in range(0, len(flood), size)))) == whole


def test_a_sub_negotiation_is_told_with_its_iacs_undone() -> None:
    raw = message(44, b"\x0b\xff")
    assert raw == bytes.fromhex("FF FA 2C 0B FF FF FF F0")
    assert said(b"a" + raw + b"b") == [Data(b"a"), Message(44, b"\x0b\xff"), Data(b"b")]


def test_a_sub_negotiation_without_end_holds_only_so_much_and_ends_at_last() -> None:
    telnet = Telnet(OPTIONS)
    assert telnet.receive(bytes((IAC, SB, 44))) == []
    for _ in range(200):
        assert telnet.receive(b"\x01" * 50_000) == []
    assert len(telnet._inside) < 1000
    assert telnet.receive(bytes((IAC, SE)) + b"data") == [Data(b"data")]


def test_a_command_in_a_sub_negotiation_breaks_it_off() -> None:
    events = said(bytes((IAC, SB, 44, 1, IAC, WILL, 3)) + b"x")
    assert events == [Agreed(3, False, True, bytes((IAC, DO, 3))), Data(b"x")]


def test_an_empty_sub_negotiation_says_nothing() -> None:
    assert said(bytes((IAC, SB, IAC, SE))) == []


def test_commands_are_told_and_unknown_ones_dropped() -> None:
    """RFC 854: commands are 240 (SE) to 254."""
    assert said(bytes((IAC, 241, IAC, 243, IAC, 7)) + b"x") == [Command(241), Command(243), Data(b"x")]
    assert said(bytes((IAC, 240, IAC, 239)) + b"x") == [Command(240), Data(b"x")]


# near-valid first: pieces of what a client says, cut and joined anyhow, with any bytes between
PIECES = [
    b"\x01\x03\x00\x64", b"\xff\xff", b"\xff", bytes((IAC, WILL)), bytes((IAC, DO, 44)), bytes((IAC, WILL, 44)),
    bytes((IAC, SB)), bytes((IAC, SB, 44)), bytes((IAC, SE)), b"\x01\x00\x00\x96\x00", b"\x05\x05", b"\x0c\x03",
    message(44, b"\x01\x00\x00\x96\x00"), message(44, b"\x0b\xff"), message(44, b"\x08"), message(44, b""), b"\xf0",
    message(24, b"\x00xterm"), b"\x00" * 300,
]  # fmt: skip
near_valid = st.lists(st.sampled_from(PIECES) | st.binary(max_size=4), max_size=20).map(b"".join)
streams = near_valid | st.binary(max_size=200)


@settings(max_examples=500)
@given(streams, st.lists(st.integers(0, 400), max_size=12))
def test_any_bytes_say_the_same_at_any_split(data: bytes, cuts: list[int]) -> None:
    whole = said(data)
    places = sorted({0, *(cut for cut in cuts if cut < len(data)), len(data)})
    assert said(*(data[a:b] for a, b in pairwise(places))) == whole
    assert said(*(data[n : n + 1] for n in range(len(data)))) == whole


@given(st.binary(max_size=300))
def test_escaped_data_comes_out_as_it_went_in(data: bytes) -> None:
    assert said(escaped(data)) == ([Data(data)] if data else [])

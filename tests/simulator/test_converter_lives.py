"""The contents of a converter when it reboots, loses a client, or sends long bursts: none of it acts later.

That a box forgets everything when it reboots, and that a port has one break for all its clients, is common practice,
no source.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from policy_plans import BUS_ID, MS, Lane
from serving import read_frame, value_frame
from small_plans import KeepingListener
from test_rfc2217 import AGREE, AGREED, ASK, REPLY, TO_9600, changes

from busim.foundation.units import CharFormat
from busim.plan import read_text
from busim.recording.trace import BURST, EXCHANGE, INPUT, Record
from busim.simulator.bus import Line, Station, setting
from busim.simulator.kernel import Kernel
from busim.simulator.world import build

BREAK, RELEASE = bytes.fromhex("FF FA 2C 05 05 FF F0"), bytes.fromhex("FF FA 2C 05 06 FF F0")


def starts(lane: Lane, label: int) -> list[int]:
    """When a station's bursts began, ns."""
    return [record[3] for record in lane.records if record[0] == BURST and record[2] == label]


# -- reboots -------------------------------------------------------------------------------------------------
THREE_MASTERS = """
busim: 1
name: three
lines:
  - name: lane
    baud: 38400 Bd
    format: 8E1
    protocol: modbus-rtu
    order: [{converter: box}, {camera: start, after: 5 m}, {camera: top, after: 20 m}]
converters:
  - name: box
    endpoint: 198.51.100.44:15001
    latency: 500 us
    clients: {sharing: arbitrated, arbitration_time_out: 100 ms}
    reboots: [{at: 1 s, down: 1 s}]
cameras:
  - {name: start, bus_id: 1, turnaround: 2 ms}
  - {name: top, bus_id: 2, turnaround: 2 ms}
masters:
  - {name: a, through: [box], time_out: 200 ms, groups: [{name: fast, values: [iris], every: 0}]}
  - {name: b, through: [box], time_out: 200 ms, groups: [{name: fast, values: [gain], every: 0}]}
  - {name: c, through: [box], time_out: 200 ms, groups: [{name: fast, values: [shutter], every: 0}]}
"""


def test_an_arbitrating_box_sends_nothing_while_it_reboots() -> None:
    records: list[Record] = []
    world = build(read_text(THREE_MASTERS), 1, records.append)
    world.start()
    world.kernel.advance(4000 * MS)
    label = world.converters["box"].number
    begun = [record[3] for record in records if record[0] == BURST and record[2] == label]
    assert [at for at in begun if 1000 * MS <= at < 2000 * MS] == []
    assert any(at < 1000 * MS for at in begun)
    assert any(at > 2000 * MS for at in begun)
    late = [record for record in records if record[0] == EXCHANGE and record[9] > 3000 * MS]
    assert {record[12] for record in late} == {"ok"}


@pytest.mark.parametrize("clients", ["4", "{sharing: arbitrated}"])
@pytest.mark.parametrize("down", [1, 2, 4, 8])
def test_what_is_in_the_box_when_it_reboots_never_arrives(clients: str, down: int) -> None:
    """A passage takes 500 us, and the box is up again before or after that: its contents are lost either way."""
    lane = Lane(clients, f"reboots: [{{at: 1 s, down: {down * 100} us}}]")
    lane.open(1)
    lane.go(999)
    lane.world.kernel.advance(999_800_000)
    lane.box.chunk(1, read_frame(1, BUS_ID))
    lane.go(1500)
    assert starts(lane, lane.box.number) == []
    assert bytes(lane.got[1]) == b""


def test_a_reply_on_its_way_out_of_the_box_is_lost_with_it() -> None:
    """The reply has left the line and is in the box, on its way to the network, when the box reboots for a moment."""
    lane = Lane("4", "reboots: [{at: 1 s, down: 100 us}]")
    lane.box.join(9, lambda _, data: heard.append(data))  # a client of the world itself stays through reboots
    heard: list[bytes] = []
    request, reply = read_frame(1, BUS_ID), value_frame(1, 1)
    lane.box.take(request, 9)
    lane.go(500)
    assert b"".join(heard) == reply
    (asked,) = starts(lane, lane.box.number)
    came = max(record[4] for record in lane.records if record[0] == BURST)  # the end of the reply on the line
    heard.clear()
    lane.world.kernel.advance(1000 * MS - 200_000 - 500_000 - (came - asked))  # it ends 200 us ahead
    lane.box.take(request, 9)
    lane.go(1500)
    assert len(starts(lane, lane.box.number)) == 2
    assert heard == []


def test_a_setting_that_waits_for_the_driver_is_forgotten_by_a_reboot() -> None:
    lane = Lane("4", "rfc2217: applies\n    reboots: [{at: 1 s, down: 1 s}]")
    lane.open(1)
    lane.box.chunk(1, AGREE)
    lane.go(990)
    lane.box.chunk(1, b"\x55" * 200 + TO_9600)  # the setting waits for 57 ms of characters
    lane.go(3000)
    assert lane.box.setting[0] == Fraction(38400)
    lane.open(2)
    lane.box.chunk(2, AGREE + ASK)
    lane.go(3200)
    assert bytes(lane.got[2]) == AGREED + REPLY


def test_a_reboot_cuts_what_the_box_is_sending_and_loses_what_waits() -> None:
    """2000 characters take 573 ms."""
    lane = Lane("4", "reboots: [{at: 1 s, down: 2 s}]")
    lane.open(1)
    lane.go(900)
    lane.box.chunk(1, b"\x55" * 2000)
    lane.go(5000)
    ends = [record[4] for record in lane.records if record[0] == BURST]
    assert max(ends) == 1000 * MS


def test_a_reply_that_comes_while_the_box_comes_up_is_heard_from_then_on_only() -> None:
    lane = Lane("4", "reboots: [{at: 1 s, down: 20 ms}]")
    lane.go(1010)
    characters = bytes(range(100))  # 28.6 ms
    lane.world.kernel.at(1010 * MS, lambda _: lane.world.cameras["start"]._outlet.send(characters))
    heard: list[bytes] = []
    lane.box.join(9, lambda _, data: heard.append(data))
    lane.go(1500)
    missed = sum(1010 * MS + (11 * n + 10.5) * 1e9 / 38400 < 1020 * MS for n in range(100))
    assert 0 < missed < 100
    assert b"".join(heard) == characters[missed:]


# -- breaks --------------------------------------------------------------------------------------------------
def three(clients: str = "4") -> Lane:
    lane = Lane(clients, "rfc2217: applies")
    for client in (1, 2, 3):
        lane.open(client)
        lane.box.chunk(client, AGREE)
    lane.go(10)
    return lane


def test_a_break_is_not_ended_by_who_has_held_an_earlier_one() -> None:
    """A breaks, B releases, C breaks, A leaves: C's break goes on."""
    lane = three()
    for at, client, what in ((20, 1, BREAK), (30, 2, RELEASE), (40, 3, BREAK)):
        lane.box.chunk(client, what)
        lane.go(at)
    lane.box.close(1)
    lane.go(100)
    assert changes(lane) == [("break", "on"), ("break", "off"), ("break", "on")]
    lane.box.close(3)
    lane.go(200)
    assert changes(lane)[3:] == [("break", "off")]


def test_a_break_that_two_hold_ends_when_the_last_of_them_leaves() -> None:
    lane = three()
    lane.box.chunk(1, BREAK)
    lane.box.chunk(2, BREAK)
    lane.go(20)
    lane.box.close(1)
    lane.go(30)
    assert changes(lane) == [("break", "on")]
    lane.box.close(2)
    lane.go(40)
    assert changes(lane) == [("break", "on"), ("break", "off")]


@pytest.mark.parametrize("way", ["close", "reset", "ignore"])
def test_a_client_dropped_for_idling_lets_its_break_go(way: str) -> None:
    lane = Lane("{idle_close: 20 s, idle_way: %s}" % way, "rfc2217: applies")  # noqa: UP031
    lane.open(1)
    lane.box.chunk(1, AGREE + BREAK)
    lane.go(19_000)
    assert changes(lane) == [("break", "on")]
    lane.open(2)
    lane.box.chunk(2, AGREE)
    lane.go(21_000)
    assert changes(lane) == [("break", "on"), ("break", "off")]
    lane.box.chunk(2, ASK)
    lane.go(22_000)
    assert bytes(lane.got[2]).endswith(REPLY)


def test_what_an_idle_client_still_wanted_is_not_asked_for_it() -> None:
    lane = Lane("{idle_close: 20 s, idle_way: ignore, sharing: arbitrated, arbitration_time_out: 30 s}")
    lane.open(1)
    lane.box.chunk(1, read_frame(9, BUS_ID) + read_frame(1, BUS_ID))  # the first is never answered
    lane.go(60_000)
    assert len(starts(lane, lane.box.number)) == 1


# -- what is noted of clients --------------------------------------------------------------------------------
def noted(lane: Lane, client: int) -> int:
    """Bytes of a client among the inputs of the trace."""
    return sum(len(record[5]) for record in lane.records if record[0] == INPUT and record[3:5] == (client, "bytes"))


@pytest.mark.parametrize("clients", ["{most: 1, when_full: accept-and-ignore}", "{idle_close: 1 s, idle_way: ignore}"])
def test_of_a_client_that_is_not_served_little_is_recorded_however_much_it_sends(clients: str) -> None:
    lane = Lane(clients)
    lane.open(1)
    lane.open(2)
    lane.go(2000)
    for _ in range(1000):
        lane.box.chunk(2, bytes(4096))
    assert noted(lane, 2) == 4096
    assert [text for text in lane.effects() if "no more of it is noted" in text] == [
        "client 2 is not served and goes on sending: no more of it is noted"
    ]


def test_of_a_sub_negotiation_without_an_end_little_is_recorded_and_what_follows_it_is_heard() -> None:
    lane = Lane("4", "rfc2217: applies")
    lane.open(1)
    lane.box.chunk(1, AGREE)
    lane.box.chunk(1, bytes.fromhex("FF FA 2C 01"))
    for _ in range(1000):
        lane.box.chunk(1, bytes(4096))
    assert noted(lane, 1) < 5000
    lane.box.chunk(1, bytes.fromhex("FF F0") + ASK)
    lane.go(100)
    assert bytes(lane.got[1]) == AGREED + REPLY


# -- long bursts ---------------------------------------------------------------------------------------------
def test_thousands_of_characters_at_a_rate_without_a_whole_bit_time_all_come_in_time() -> None:
    """At 7 MBd a bit lasts 142.86 ns. What has come by an instant is counted from the exact instants, not by dividing
    by a rounded character: 4000 characters on, that is one too few.
    """
    kernel = Kernel()
    line = Line(kernel, lambda _: None)
    port = setting(Fraction(7_000_000), CharFormat.parse("8N1"))
    sender, receiver = Station("sender", 0.0, port), Station("receiver", 0.0, port)
    heard = KeepingListener(receiver)
    line.attach(sender, KeepingListener(sender))
    line.attach(receiver, heard)
    line.start()
    count = 4090
    burst = line.send(sender, bytes(count))
    for number in (1, 100, 3900, 4000, 4080, count):
        there = burst.start + (2 * (10 * number) - 1) * 10**9 // (2 * 7_000_000) + 1  # the middle of its stop bit
        kernel.advance(there)
        line.catch_up(receiver)
        assert len(heard.characters) == number

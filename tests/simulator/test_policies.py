"""The client policies of converters: each in fast time, and with real clients over real sockets."""

from __future__ import annotations

import asyncio
import socket
import statistics
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import serial
from hypothesis import given
from hypothesis import strategies as st
from policy_plans import BUS_ID, FROM_ONE, FROM_TWO, ONE, TWO, Lane, plan_of
from serving import WITHIN, Client, Served, read_frame, wait_for, with_crc

from busim.foundation.diagnostics import Findings
from busim.foundation.errors import BusimError
from busim.plan import defaults, read_text
from busim.protocols import READ, Request, find
from busim.recording.trace import CHANGE, EFFECT, EXCHANGE, open_trace
from busim.runtime.bridge import Address, cautions
from busim.runtime.session import Virtual, replay
from busim.simulator.converters import Arbiter, Packer, Slots


# -- slots -----------------------------------------------------------------------------------------------------------
def test_one_too_many_is_refused() -> None:
    lane = Lane("1")
    assert lane.open(1)
    assert not lane.open(2)
    lane.box.close(1)
    assert lane.open(3)


def test_the_oldest_goes_for_one_too_many() -> None:
    lane = Lane("{most: 2, when_full: drop-oldest}")
    assert lane.open(1)
    assert lane.open(2)
    assert lane.open(3)
    assert lane.dropped == [(1, True)]
    lane.box.chunk(1, ONE)
    lane.box.chunk(2, TWO)
    lane.go(100)
    assert (bytes(lane.got[1]), bytes(lane.got[2]), bytes(lane.got[3])) == (b"", FROM_TWO, FROM_TWO)


def test_one_too_many_is_let_in_and_not_served() -> None:
    lane = Lane("{most: 1, when_full: accept-and-ignore}")
    assert lane.open(1)
    assert lane.open(2)
    lane.box.chunk(2, TWO)
    lane.box.chunk(1, ONE)
    lane.go(100)
    assert (bytes(lane.got[1]), bytes(lane.got[2])) == (FROM_ONE, b"")
    assert not any(record[0] == EXCHANGE and record[4] == 2 for record in lane.records)
    lane.box.close(1)
    lane.box.chunk(2, TWO)  # and it stays so
    lane.go(200)
    assert bytes(lane.got[2]) == b""


def test_who_vanished_keeps_the_slot_for_a_while_and_who_ends_does_not() -> None:
    lane = Lane("{most: 1, hold_slot: 120 s}")
    assert lane.open(1)
    lane.box.close(1)
    assert lane.open(2)
    lane.box.close(2, reset=True)
    lane.go(119_999)
    assert not lane.open(3)
    lane.go(120_000)
    assert lane.open(4)


def test_a_held_slot_is_the_first_to_go_where_the_oldest_goes() -> None:
    slots = Slots(2, "drop-oldest", 1000)
    slots.arrive(1, 0)
    slots.arrive(2, 0)
    slots.leave(1, 10, ended=False)
    assert slots.arrive(3, 20).dropped is None
    assert slots.arrive(4, 30).dropped == 2


@given(
    st.lists(st.tuples(st.sampled_from("ale"), st.integers(0, 6), st.integers(0, 50)), max_size=60),
    st.integers(1, 3),
    st.sampled_from(["refuse", "drop-oldest", "accept-and-ignore"]),
    st.sampled_from([0, 20]),
)
def test_never_more_are_served_than_there_are_slots(
    events: list[tuple[str, int, int]], most: int, when_full: str, hold: int
) -> None:
    slots = Slots(most, when_full, hold)
    served: set[int] = set()
    for now, (what, client, _) in enumerate(events):
        if what == "a" and client not in served:
            arrival = slots.arrive(client, now)
            served.discard(arrival.dropped if arrival.dropped is not None else -1)
            if arrival.served:
                served.add(client)
        elif what != "a" and client in served:
            slots.leave(client, now, ended=what == "e")
            served.discard(client)
        assert len(served) <= most


# -- sharing ---------------------------------------------------------------------------------------------------------
def test_replies_go_to_all() -> None:
    lane = Lane()
    lane.open(1)
    lane.open(2)
    lane.box.chunk(1, ONE)
    lane.go(100)
    assert bytes(lane.got[1]) == bytes(lane.got[2]) == FROM_ONE


def test_an_arbitrated_reply_goes_to_who_asked_and_requests_wait_for_each_other() -> None:
    lane = Lane("{sharing: arbitrated}")
    lane.open(1)
    lane.open(2)
    lane.box.chunk(1, ONE + ONE)
    lane.box.chunk(2, TWO[:3])
    lane.box.chunk(2, TWO[3:])
    lane.go(200)
    assert (bytes(lane.got[1]), bytes(lane.got[2])) == (FROM_ONE * 2, FROM_TWO)
    outcomes = [record[12] for record in lane.records if record[0] == EXCHANGE]
    assert outcomes == ["ok"] * 3


def test_without_arbitration_the_same_requests_spoil_each_other() -> None:
    """Two frames with no silence between them are one bad frame (MODBUS over Serial Line V1.02, p. 13)."""
    lane = Lane()
    lane.open(1)
    lane.open(2)
    lane.box.chunk(1, ONE)
    lane.box.chunk(2, TWO)
    lane.go(200)
    assert bytes(lane.got[1]) == b""


def test_a_request_that_nobody_answers_makes_way_when_its_time_is_up() -> None:
    lane = Lane("{sharing: arbitrated, arbitration_time_out: 50 ms}")
    lane.open(1)
    lane.open(2)
    lane.box.chunk(1, read_frame(9, BUS_ID))
    lane.box.chunk(2, TWO)
    lane.go(45)
    assert bytes(lane.got[2]) == b""
    lane.go(90)
    assert bytes(lane.got[2]) == FROM_TWO
    assert "no reply in time" in lane.effects()


def test_a_late_reply_is_nobodys_and_does_not_reach_the_next() -> None:
    lane = Lane("{sharing: arbitrated, arbitration_time_out: 10 ms}", turnaround="30 ms")
    lane.open(1)
    lane.open(2)
    lane.box.chunk(1, ONE)
    lane.go(100)
    assert bytes(lane.got[1]) == bytes(lane.got[2]) == b""


def test_what_a_client_wanted_that_has_gone_is_not_asked() -> None:
    lane = Lane("{sharing: arbitrated}")
    lane.open(1)
    lane.open(2)
    lane.box.chunk(1, ONE)
    lane.box.chunk(2, TWO + TWO)
    lane.go(2)
    lane.box.close(2)
    lane.go(200)
    assert [record[4] for record in lane.records if record[0] == EXCHANGE] == [1]


def test_a_broadcast_has_no_reply_to_wait_for() -> None:
    lane = Lane("{sharing: arbitrated}")
    lane.open(1)
    lane.box.chunk(1, with_crc(bytes.fromhex("00 06 00 00 00 07")) + ONE)
    lane.go(30)
    assert bytes(lane.got[1]) == FROM_ONE


def test_junk_between_requests_is_dropped_and_a_flood_of_requests_is_bounded() -> None:
    lane = Lane("{sharing: arbitrated}")
    lane.open(1)
    lane.box.chunk(1, b"\xff\x01hello" + ONE + b"\x00")
    lane.go(50)
    assert bytes(lane.got[1]) == FROM_ONE
    lane.box.chunk(1, TWO * 400)
    lane.go(100)
    assert any("too many wait" in text for text in lane.effects())


@pytest.mark.parametrize("name", ["modbus-rtu", "text", "short", "tagged"])
@given(data=st.data())
def test_an_arbiter_gives_out_each_request_whole_and_in_order(name: str, data: Any) -> None:
    spoken = find(name)
    keys = sorted({key for keys in spoken.keys.values() for key in keys.values()} or range(4))
    raws = []
    for _ in range(data.draw(st.integers(1, 6))):
        request = Request(data.draw(st.integers(*spoken.addresses)), READ, data.draw(st.sampled_from(keys)), 1)
        try:
            raws.append(spoken.encode_request(request))
        except BusimError:
            continue
    stream = b"".join(raws)
    arbiter = Arbiter(spoken, 1000, 10)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=5)))
    for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        arbiter.take(1, stream[start:end])
    given_out = []
    now = 0
    while raw := arbiter.next(now):
        given_out.append(raw)
        arbiter.sent(now)
        now += 2000
        arbiter.elapsed(now)
        now += 20
    assert b"".join(given_out) == stream


def test_an_arbiter_that_is_cleared_asks_nothing_more() -> None:
    arbiter = Arbiter(find("modbus-rtu"), 1000, 10)
    arbiter.take(1, ONE + TWO)
    arbiter.clear()
    assert arbiter.next(0) == b""
    arbiter.take(2, TWO)
    assert (arbiter.next(0), arbiter.owner) == (TWO, 2)


def test_a_request_that_comes_in_the_silence_after_a_reply_waits_for_its_end() -> None:
    spoken = find("modbus-rtu")
    arbiter = Arbiter(spoken, 1000, 10)
    arbiter.take(1, ONE)
    assert arbiter.next(100) == ONE
    arbiter.sent(200)
    assert arbiter.heard(FROM_ONE, 300)
    assert (arbiter.due, arbiter.owner) == (None, 1)
    arbiter.take(2, TWO)
    assert (arbiter.next(305), arbiter.due) == (b"", 310)
    assert (arbiter.next(310), arbiter.owner) == (TWO, 2)


# -- what a box does by itself ---------------------------------------------------------------------------------------
@pytest.mark.parametrize(("way", "dropped"), [("close", [(1, False)]), ("reset", [(1, True)]), ("ignore", [])])
def test_an_idle_client_is_left(way: str, dropped: list[tuple[int, bool]]) -> None:
    lane = Lane("{idle_close: 20 s, idle_way: %s}" % way)  # noqa: UP031
    lane.open(1)
    lane.go(15_000)
    lane.box.chunk(1, ONE)
    lane.go(34_900)
    assert lane.dropped == []
    lane.go(35_100)
    assert lane.dropped == dropped
    lane.got[1].clear()
    lane.box.chunk(1, ONE)
    lane.go(36_000)
    assert bytes(lane.got[1]) == b""


def test_a_greeting_comes_first_and_once() -> None:
    lane = Lane('{greeting: "68 69"}')
    lane.open(1)
    lane.box.chunk(1, ONE)
    lane.go(100)
    lane.open(2)
    lane.go(200)
    assert (bytes(lane.got[1]), bytes(lane.got[2])) == (b"hi" + FROM_ONE, b"hi")


def test_keep_alive_bytes_come_when_nothing_else_does() -> None:
    lane = Lane('{keep_alive: {every: 10 s, bytes: "00 00"}}')
    lane.open(1)
    lane.go(5_000)
    lane.box.chunk(1, ONE)
    lane.go(14_900)
    assert bytes(lane.got[1]) == FROM_ONE
    lane.go(26_000)
    assert bytes(lane.got[1]) == FROM_ONE + bytes(4)


def test_keep_alive_bytes_may_go_into_the_line() -> None:
    lane = Lane('{keep_alive: {every: 10 s, bytes: "55", to: line}}')
    lane.go(35_000)
    assert [record[6] for record in lane.records if record[0] == 0] == [b"\x55"] * 3


def test_bytes_of_the_line_wait_for_who_comes() -> None:
    lane = Lane("{stale: 4}")
    lane.open(1)
    lane.box.chunk(1, ONE)
    lane.go(3)
    lane.box.close(1)
    lane.go(100)
    lane.open(2)
    lane.go(200)
    lane.open(3)
    lane.go(300)
    assert (bytes(lane.got[2]), bytes(lane.got[3])) == (FROM_ONE[-4:], b"")


def test_nothing_waits_unless_the_plan_says_so() -> None:
    lane = Lane()
    lane.open(1)
    lane.box.chunk(1, ONE)
    lane.go(3)
    lane.box.close(1)
    lane.go(100)
    lane.open(2)
    lane.go(200)
    assert bytes(lane.got[2]) == b""


def test_a_reboot_breaks_every_connection_and_refuses_for_a_while() -> None:
    lane = Lane("4", "reboots: [{at: 10 s, down: 8 s}]")
    lane.open(1)
    lane.go(9_999)
    lane.box.chunk(1, ONE)  # still on its way when it happens
    lane.go(17_900)
    assert lane.dropped == [(1, True)]
    assert bytes(lane.got[1]) == b""
    assert not lane.open(2)
    lane.go(18_000)
    assert lane.open(3)
    lane.box.chunk(3, TWO)
    lane.go(18_100)
    assert bytes(lane.got[3]) == FROM_TWO


def test_packets_end_behind_a_delimiter() -> None:
    packer = Packer(4_000_000, 0, 286_000, b"\r\n")
    assert packer.feed(b"OK 1\r", 0) == []
    assert packer.feed(b"\nOK 2\r\nOK", 1000) == [b"OK 1\r\n", b"OK 2\r\n"]
    assert packer.elapsed(4_000_999) == b""
    assert packer.elapsed(4_001_000) == b"OK"
    assert packer.elapsed(4_001_001) == b""


@pytest.mark.parametrize(("length", "stops"), [(0, 0), (1, 1), (8, 8)])
def test_a_packet_of_some_length_must_be_looked_at_before_the_burst_ends(length: int, stops: int) -> None:
    packer = Packer(4_000_000, length, 286_000)
    assert (packer.stops, packer.stop()) == (stops > 0, stops)


def test_a_delimiter_in_a_plan_saves_the_wait_for_silence() -> None:
    """The answer's last byte is 84: it goes when that is there, and not 200 ms later."""
    lane = Lane("4", 'packing: {idle: 200 ms, delimiter: "84"}')
    lane.open(1)
    lane.box.chunk(1, ONE)
    lane.go(20)
    assert bytes(lane.got[1]) == FROM_ONE


# -- the plan --------------------------------------------------------------------------------------------------------
def test_a_number_of_clients_is_short_for_the_most() -> None:
    short, long = read_text(plan_of("3")), read_text(plan_of("{most: 3}"))
    assert short.converters == long.converters
    assert defaults(short)["converters"][0]["clients"]["when_full"] == "refuse"


@pytest.mark.parametrize(
    ("clients", "code", "field"),
    [
        ("0", "out-of-bounds", "clients"),
        ("257", "out-of-bounds", "clients"),
        ("{most: 0}", "out-of-bounds", "clients.most"),
        ("{when_full: explode}", "bad-value", "clients.when_full"),
        ("{greeting: 4}", "bad-value", "clients.greeting"),
        ("{mots: 3}", "unknown-key", "clients.mots"),
        ("many", "wrong-kind", "clients"),
    ],
)
def test_what_is_wrong_about_clients_is_said_at_its_place(clients: str, code: str, field: str) -> None:
    with pytest.raises(Findings) as caught:
        read_text(plan_of(clients))
    assert [(each.code, each.field) for each in caught.value.findings] == [(code, f"converters[0].{field}")]


# -- two real clients over real sockets ------------------------------------------------------------------------------
@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Any]:
    """Serves a plan with these clients."""
    running: list[Served] = []

    def start(clients: str, more: str = "", turnaround: str = "2 ms") -> Served:
        running.append(Served(tmp_path, plan_of(clients, more, turnaround)))
        return running[0]

    yield start
    for served in running:
        served.__exit__(None, None, None)


def test_two_clients_where_replies_go_to_all(serve: Any) -> None:
    address = serve("4").address("box")
    with Client(address) as one, Client(address) as two:
        assert one.ask(ONE, len(FROM_ONE)) == FROM_ONE
        assert two.hear(len(FROM_ONE)) == FROM_ONE


def test_two_clients_where_one_is_refused(serve: Any) -> None:
    address = serve("1").address("box")
    with Client(address) as one, Client(address) as two:
        assert two.is_closed()
        assert one.ask(ONE, len(FROM_ONE)) == FROM_ONE


def test_two_clients_where_the_oldest_goes(serve: Any) -> None:
    address = serve("{most: 1, when_full: drop-oldest}").address("box")
    with Client(address) as one:
        assert one.ask(ONE, len(FROM_ONE)) == FROM_ONE
        with Client(address) as two:
            assert one.is_closed()
            assert two.ask(TWO, len(FROM_TWO)) == FROM_TWO


def test_two_clients_where_the_second_is_let_in_and_ignored(serve: Any) -> None:
    address = serve("{most: 1, when_full: accept-and-ignore}").address("box")
    with Client(address) as one:
        assert one.ask(ONE, len(FROM_ONE)) == FROM_ONE
        with Client(address) as two:
            assert two.ask(TWO, 1, patience=0.2) == b""
            assert one.ask(ONE, len(FROM_ONE)) == FROM_ONE


def test_two_clients_whose_requests_are_arbitrated(serve: Any, tmp_path: Path) -> None:
    served = serve("{sharing: arbitrated}", turnaround="20 ms")
    with Client(served.address("box")) as one, Client(served.address("box")) as two:
        one.socket.sendall(ONE * 3)
        two.socket.sendall(TWO * 3)
        assert two.hear(3 * len(FROM_TWO)) == FROM_TWO * 3
        assert one.hear(3 * len(FROM_ONE)) == FROM_ONE * 3
        assert one.hear(1, patience=0.1) == two.hear(1, patience=0.1) == b""
    served.interrupt()
    assert replay(tmp_path / "live.trace").difference is None


def test_the_next_client_after_one_that_vanished_has_to_wait(serve: Any, tmp_path: Path) -> None:
    served = serve("{most: 1, hold_slot: 600 ms}")
    address = served.address("box")
    one = Client(address)
    assert one.ask(ONE, len(FROM_ONE)) == FROM_ONE
    one.vanish()
    wait_for(lambda: "gone without a close" in served.errors())
    with Client(address) as two:
        assert two.is_closed()
    attempts = 0

    def regained() -> bool:
        nonlocal attempts
        attempts += 1
        with Client(address) as again:
            return again.ask(TWO, len(FROM_TWO), patience=0.1) == FROM_TWO

    wait_for(regained)
    assert attempts > 1
    served.interrupt()
    assert replay(tmp_path / "live.trace").difference is None


def test_an_idle_client_is_closed_and_a_busy_one_is_not(serve: Any) -> None:
    address = serve("{idle_close: 300 ms, sharing: arbitrated}").address("box")
    with Client(address) as idle, Client(address) as busy:
        end = time.monotonic() + 1.0
        while time.monotonic() < end:
            assert busy.ask(ONE, len(FROM_ONE)) == FROM_ONE
        assert idle.is_closed()
        assert busy.ask(TWO, len(FROM_TWO)) == FROM_TWO


def test_an_idle_client_that_is_reset_sees_a_reset(serve: Any) -> None:
    with Client(serve("{idle_close: 200 ms, idle_way: reset}").address("box")) as idle:
        idle.socket.settimeout(10)
        with pytest.raises(ConnectionResetError):
            idle.socket.recv(1)


def test_who_connects_is_greeted_and_then_given_what_had_waited(serve: Any) -> None:
    address = serve('{greeting: "68 69", stale: 100}', turnaround="100 ms").address("box")
    with Client(address) as one:
        assert one.hear(2) == b"hi"
        one.socket.sendall(ONE)
        one.hear(1, patience=0.03)
    time_of_the_answer = time.monotonic() + 0.4
    wait_for(lambda: time.monotonic() > time_of_the_answer)
    with Client(address) as two:
        assert two.hear(2 + len(FROM_ONE)) == b"hi" + FROM_ONE


def test_a_reboot_resets_everybody_and_serves_again_after_a_while(serve: Any, tmp_path: Path) -> None:
    served = serve("4", "reboots: [{at: 1500 ms, down: 500 ms}]")
    address = served.address("box")
    with Client(address) as one, Client(address) as two:
        assert one.ask(ONE, len(FROM_ONE)) == FROM_ONE
        assert one.is_closed()
        assert two.is_closed()
    with pytest.raises(ConnectionRefusedError):
        Client(address)

    def served_again() -> bool:
        try:
            with Client(address) as late:
                return late.ask(TWO, len(FROM_TWO), patience=0.2) == FROM_TWO
        except ConnectionRefusedError:
            return False

    wait_for(served_again)
    served.interrupt()
    assert replay(tmp_path / "live.trace").difference is None
    with open_trace(tmp_path / "live.trace") as trace:
        assert any(record[3] == "reboot" or record[2] == "reboot" for record in trace.records(EFFECT))
        assert not list(trace.records(CHANGE))


def test_two_idle_clients_of_which_each_is_left_there_and_dead(serve: Any, tmp_path: Path) -> None:
    served = serve("{idle_close: 300 ms, idle_way: ignore, sharing: arbitrated}")
    address = served.address("box")
    with Client(address) as one, Client(address) as two:
        assert one.ask(ONE, len(FROM_ONE)) == FROM_ONE
        assert two.ask(TWO, len(FROM_TWO)) == FROM_TWO
        assert one.hear(1, patience=0.8) == b""
        assert one.ask(ONE, 1, patience=0.2) == b""
        assert two.ask(TWO, 1, patience=0.2) == b""
        with Client(address) as late:
            assert late.ask(TWO, len(FROM_TWO)) == FROM_TWO
    served.interrupt()
    assert replay(tmp_path / "live.trace").difference is None


def test_two_clients_are_kept_alive_when_nothing_else_comes_and_not_between(serve: Any, tmp_path: Path) -> None:
    served = serve('{keep_alive: {every: 1 s, bytes: "4B 41"}}')
    address = served.address("box")
    with Client(address) as one, Client(address) as two:
        assert one.hear(2) == two.hear(2) == b"KA"
        polled = 0
        end = time.monotonic() + 1.5
        while time.monotonic() < end:
            assert one.ask(ONE, len(FROM_ONE)) == FROM_ONE
            polled += 1
        assert two.hear(polled * len(FROM_ONE)) == FROM_ONE * polled
        assert two.hear(2) == one.hear(2) == b"KA"
    served.interrupt()
    assert replay(tmp_path / "live.trace").difference is None


@pytest.mark.parametrize(
    ("packing", "first", "waits"),
    [
        ("{idle: 600 ms}", 0, True),
        ("{idle: 600 ms, length: 5}", 5, True),
        ("{idle: 600 ms, length: 7}", 7, False),
        ('{idle: 600 ms, delimiter: "02"}', 3, True),
        ('{idle: 600 ms, delimiter: "79 84"}', 7, False),
    ],
)
def test_two_clients_get_what_is_packed_by_silence_by_length_and_behind_a_delimiter(
    serve: Any, packing: str, first: int, waits: bool
) -> None:
    """The reply is 01 03 02 00 01 79 84: bytes that go at once arrive long before the silence ends."""
    address = serve("4", f"packing: {packing}").address("box")
    with Client(address) as one, Client(address) as two:
        one.socket.sendall(ONE)
        asked = time.monotonic()
        for client in (one, two):
            assert client.hear(first) == FROM_ONE[:first]
        early = time.monotonic() - asked
        for client in (one, two):
            assert client.hear(len(FROM_ONE) - first) == FROM_ONE[first:]
        whole = time.monotonic() - asked
    assert not first or early < 0.6
    assert (whole >= 0.6) is waits


@pytest.mark.skipif(sys.platform != "linux", reason="how long an acknowledgement is put off differs")
@pytest.mark.parametrize("sharing", ["replies-to-all", "arbitrated"])
def test_two_writes_and_a_read_stall_without_tcp_nodelay(serve: Any, sharing: str) -> None:
    """The second write waits for the acknowledgement of the first, which waits for data to go with (RFC 1122 4.2.3.2:
    less than 500 ms; Linux include/net/tcp.h: 40 to 200 ms; about 44 ms an exchange was measured on the loopback
    device). A box that passes bytes on as they come makes a silence of it, in which the camera takes the frame to be
    over (MODBUS over Serial Line V1.02, p. 13).
    """
    address = serve(f"{{sharing: {sharing}}}").address("box")
    took: dict[int, list[float]] = {}
    heard: dict[int, set[bytes]] = {}
    with Client(address) as careless, Client(address) as careful:
        careful.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        for number, client in enumerate((careless, careful)):
            times, replies = took.setdefault(number, []), heard.setdefault(number, set())
            for _ in range(25):  # Linux acknowledges the first ones of a connection at once
                began = time.monotonic()
                client.socket.sendall(ONE[:1])
                client.socket.sendall(ONE[1:])
                replies.add(client.hear(len(FROM_ONE), patience=0.3))
                times.append(time.monotonic() - began)
                while careful.hear(1, patience=0.002) + careless.hear(1, patience=0.002):
                    pass  # what the other got of it
    assert FROM_ONE in heard[1]
    if sharing == "arbitrated":
        assert heard[0] == heard[1] == {FROM_ONE}
        assert statistics.median(took[0][-15:]) - statistics.median(took[1][-15:]) > 0.03
    else:
        assert b"" in heard[0]


# -- a converter that connects to its controller ---------------------------------------------------------------------


class Controller:
    """A plain server, as in a controller that waits for its converters."""

    def __init__(self, port: int = 0) -> None:
        self.listening = socket.create_server(("127.51.100.5", port))
        self.listening.settimeout(WITHIN)
        self.port = self.listening.getsockname()[1]

    def accept(self) -> socket.socket:
        connection, _ = self.listening.accept()
        connection.settimeout(WITHIN)
        return connection


def answered(connection: socket.socket, request: bytes, reply: bytes) -> bool:
    connection.sendall(request)
    heard = b""
    while len(heard) < len(reply) and (piece := connection.recv(100)):
        heard += piece
    return heard == reply


def test_a_converter_dials_its_controller_and_again_when_the_connection_ends(tmp_path: Path) -> None:
    controller = Controller()
    more = f"dials: 198.51.100.5:{controller.port}\n    redial: 100 ms"
    with Served(tmp_path, plan_of("4", more)) as served:
        assert served.where["converters"] == {}
        for _ in range(2):
            with controller.accept() as connection:
                assert answered(connection, ONE, FROM_ONE)
        with controller.accept() as one:
            assert answered(one, TWO, FROM_TWO)
            served.interrupt()
    assert replay(tmp_path / "live.trace").difference is None
    controller.listening.close()


@pytest.mark.skipif(sys.platform != "linux", reason="a serial port is the second way in here, and needs Linux")
def test_a_controller_that_is_dialled_shares_the_line_with_another_program(tmp_path: Path) -> None:
    controller = Controller()
    ports = tmp_path / "ports"
    more = f"dials: 198.51.100.5:{controller.port}"
    with Served(tmp_path, plan_of("{sharing: arbitrated}", more), "--pty", str(ports)) as served:
        with controller.accept() as one, serial.Serial(str(ports / "box"), 38400, timeout=WITHIN) as two:
            for _ in range(3):
                assert answered(one, ONE, FROM_ONE)
                two.write(TWO)
                assert two.read(len(FROM_TWO)) == FROM_TWO
        served.interrupt()
    assert replay(tmp_path / "live.trace").difference is None
    controller.listening.close()


def test_a_converter_dials_until_its_controller_is_there(tmp_path: Path) -> None:
    early = Controller()
    early.listening.close()
    with Served(tmp_path, plan_of("4", f"dials: 198.51.100.5:{early.port}\n    redial: 50 ms")) as served:
        wait_for(lambda: "no answer from 127.51.100.5" in served.errors())
        controller = Controller(early.port)
        with controller.accept() as connection:
            assert answered(connection, ONE, FROM_ONE)
        controller.listening.close()


def test_dialling_a_planned_address_is_cautioned_about_and_loopback_is_not() -> None:
    (caution,) = cautions({}, {"box": Address("198.51.100.5", 4000), "lane box": Address("127.51.100.5", 4000)})
    assert caution.startswith("caution: box connects to 198.51.100.5:4000")


def test_a_converter_dials_a_controller_in_virtual_time() -> None:
    heard: list[bytes] = []

    async def main() -> None:
        async def came(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            writer.write(ONE)
            heard.append(await reader.readexactly(len(FROM_ONE)))
            writer.close()

        await asyncio.sleep(3)  # until then nobody answers
        await asyncio.start_server(came, "198.51.100.5", 4000)
        await asyncio.sleep(7.5)

    Virtual(read_text(plan_of("4", "dials: 198.51.100.5:4000\n    redial: 2 s"))).run(main)
    assert heard == [FROM_ONE] * 4

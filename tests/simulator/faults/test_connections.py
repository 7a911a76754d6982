"""Faults of a converter's connections and of its bytes, seen by a client from outside."""

from __future__ import annotations

import pytest
from crccheck.crc import CrcModbus
from fault_guests import READ_ONE, Guest
from fault_halls import MS, S, hall

from busim.plan import read_text
from busim.recording.trace import BURST


def at_the_box(fault: str, more: str = "") -> Guest:
    """A client of the wall box on which this fault is on from the start; one connection is open."""
    found = Guest(hall(f"{{fault: {fault}, on: wall box{', ' + more if more else ''}}}"))
    found.wait(MS)
    found.connect()
    found.wait(MS)
    return found


def sound(data: bytes) -> bool:
    """MODBUS over Serial Line V1.02, 6.2.2: the CRC of a frame with its CRC behind it is 0."""
    return len(data) > 3 and CrcModbus.calc(data) == 0


def test_refused_connections_are_refused_and_those_that_were_there_stay() -> None:
    guest = Guest(hall("{fault: refused-connections, on: wall box, at: 10 ms, for: 1 s}"))
    assert guest.connect()
    guest.wait(20 * MS)
    assert not guest.connect()
    assert guest.count("refused-connections") == 1
    guest.client = 1
    assert sound(guest.ask())
    guest.wait(S)
    guest.client = 2
    assert guest.connect()


def test_an_ignored_client_is_let_in_and_nothing_of_it_reaches_the_line() -> None:
    guest = at_the_box("ignored-clients")
    assert guest.count("ignored-clients") == 1
    assert guest.ask() == b""
    assert guest.texts(BURST, 6) == []


@pytest.mark.parametrize(("how", "reset"), [("reset", True), ("close", False)])
def test_a_dropped_connection_ends_as_it_is_said(how: str, reset: bool) -> None:
    guest = at_the_box("dropped-connections", f"rate: 10 /s, how: {how}")
    guest.wait(2 * S)
    assert guest.ended == [(1, reset)]
    assert guest.count("dropped-connections") == 1


def test_zeros_at_the_end_of_a_packet_are_trimmed_and_no_others() -> None:
    guest = at_the_box("trimmed-zeros")
    assert sound(guest.ask())
    assert guest.count("trimmed-zeros") == 0
    for value in range(2000):  # the value whose reply ends with a zero: CRCs are spread evenly over values
        guest.run.world.cameras["rope left"].camera.values["iris"] = value
        reply = bytes((1, 3, 2)) + value.to_bytes(2)
        reply += CrcModbus.calc(reply).to_bytes(2, "little")
        if reply[-1] == 0:
            break
    assert guest.ask() == reply.rstrip(b"\0")
    assert guest.count("trimmed-zeros") == 1


def test_telnet_doubles_ff_towards_the_network_and_takes_commands_out_towards_the_line() -> None:
    """RFC 854: an FF in the data goes as two; FF and one byte are a command, FF FB and one byte an option (RFC 855)."""
    guest = at_the_box("telnet-escapes")
    guest.run.world.cameras["rope left"].camera.values["iris"] = 0xFF
    assert b"\xff\xff" in guest.ask()
    assert guest.count("telnet-escapes") == 1
    for given, sent in (("01 FF FF 02", "01 FF 02"), ("01 FF F1 02", "01 02"), ("01 FF FB 00 02", "01 02")):
        guest.ask(bytes.fromhex(given))
        assert guest.texts(BURST, 6)[-1] == bytes.fromhex(sent)
    assert guest.count("telnet-escapes") == 4


def test_telnet_offers_options_at_connecting() -> None:
    guest = at_the_box("telnet-escapes", "offers: yes")
    guest.wait(5 * MS)
    assert guest.data == bytes.fromhex("FF FD 00 FF FB 00 FF FB 03")  # RFC 855: DO, WILL, WILL


def test_stale_bytes_come_first_on_a_new_connection() -> None:
    guest = at_the_box("stale-bytes")
    reply = guest.ask()
    assert sound(reply)
    guest.got.clear()
    guest.connect()
    guest.wait(5 * MS)
    assert guest.data == reply
    assert guest.count("stale-bytes") == 1


@pytest.mark.parametrize(("rest", "share"), [("delivered", 6 - 3 + 1), ("lost", 0)])
def test_a_reply_is_cut_by_the_end_of_its_connection(rest: str, share: int) -> None:
    guest = at_the_box("cut-reply", f"share: 1, behind: 3, rest: {rest}")
    first = guest.ask()
    assert len(first) == 3
    assert guest.ended == [(1, True)]
    guest.got.clear()
    guest.connect()
    guest.wait(5 * MS)
    assert len(guest.data) == share
    assert sound(first + guest.data) or rest == "lost"


def test_a_second_small_segment_waits_for_the_acknowledgement_of_the_first() -> None:
    guest = at_the_box("delayed-ack", "delay: 40 ms")
    assert sound(guest.ask())
    assert guest.count("delayed-ack") == 0
    guest.wait(100 * MS)
    guest.port.chunk(1, READ_ONE[:3])
    assert guest.ask(READ_ONE[3:]) == b"", "the camera saw half a request"
    assert guest.count("delayed-ack") == 1
    bursts = [record for record in guest.records if record[0] == BURST][-2:]
    assert bursts[1][3] - bursts[0][3] == 40 * MS  # the first byte of either


def test_all_that_comes_before_the_acknowledgement_goes_together_and_waits_once() -> None:
    """RFC 896: what the user sends meanwhile is kept, and sent as one segment when the acknowledgement comes."""
    guest = at_the_box("delayed-ack", "delay: 40 ms")
    guest.wait(100 * MS)
    for place in range(4):
        guest.port.chunk(1, READ_ONE[place : place + 1])
        guest.wait(5 * MS)
    guest.wait(60 * MS)
    assert guest.count("delayed-ack") == 3
    first, rest = [record for record in guest.records if record[0] == BURST]
    assert (first[6], rest[6]) == (READ_ONE[:1], READ_ONE[1:4])
    assert rest[3] - first[3] == 40 * MS


def test_opening_the_port_sends_a_junk_byte_and_resets_the_board() -> None:
    guest = at_the_box("reset-on-open", "glitch: 1, byte: 'EE', boot: 500 ms")
    assert guest.ask() == b""
    assert guest.texts(BURST, 6) == [b"\xee"]
    guest.wait(S)
    assert sound(guest.ask())


def test_an_adapter_that_was_unplugged_ends_its_connections_and_refuses_until_it_is_back() -> None:
    guest = Guest(hall("{fault: unplugged-adapter, on: wall box, at: 10 ms, back: 1 s, renamed: 1}"))
    assert guest.connect()
    guest.wait(20 * MS)
    assert guest.ended == [(1, True)]
    assert guest.port.clients.unplugged == "renamed"
    assert not guest.connect()
    guest.wait(S)
    assert guest.connect()


BAUD = bytes.fromhex("FF FA 2C 01 00 00 25 80 FF F0")  # RFC 2217: SET-BAUDRATE 9600
WILL = bytes.fromhex("FF FB 2C")  # RFC 2217: the client is willing to control the port


@pytest.mark.parametrize(
    ("manner", "answer", "baud"),
    [
        ("acknowledges", "FF FA 2C 65 00 00 25 80 FF F0", 38400),
        ("answers-other", "FF FA 2C 65 00 00 96 00 FF F0", 38400),
        ("silent", "", 38400),
        ("applies", "FF FA 2C 65 00 00 25 80 FF F0", 9600),
    ],
)
def test_com_port_control_is_answered_in_the_manner_that_was_chosen(manner: str, answer: str, baud: int) -> None:
    """RFC 2217: server codes are client codes + 100, so 101 (65) answers SET-BAUDRATE."""
    fault = f"{{fault: ignored-port-control, on: wall box, manner: {manner}, delay: 30 ms}}"
    plan = read_text(hall(fault).source.replace("latency: 1 ms,", "latency: 1 ms, rfc2217: applies,"))
    guest = Guest(plan)
    guest.wait(MS)
    guest.connect()
    guest.ask(WILL)
    guest.got.clear()
    since = guest.now
    assert guest.ask(BAUD) == bytes.fromhex(answer)
    assert guest.port.setting[0] == baud
    if answer:
        assert guest.got[0][0] - since >= 30 * MS
    assert guest.count("ignored-port-control") > 0 or manner == "silent"


def test_a_gateway_answers_for_the_camera_with_its_codes() -> None:
    """MODBUS Application Protocol V1.1b3, 7: exception code 6 is busy, 0B a target that failed to respond."""
    guest = at_the_box("busy-gateway", "share: 1, how: busy")
    assert guest.ask()[:3] == bytes((1, 0x83, 6))
    guest = at_the_box("busy-gateway", "share: 1, how: target-failed, wait: 400 ms")
    assert guest.ask() == b""
    guest.wait(400 * MS)
    assert guest.data[:3] == bytes((1, 0x83, 0x0B))


def test_a_gateway_repeats_what_nobody_answers() -> None:
    guest = at_the_box("busy-gateway", "share: 1, how: repeats, wait: 50 ms, repeats: 3")
    guest.run.power("rope left", False)
    guest.ask(wait=S)
    assert guest.texts(BURST, 6) == [READ_ONE] * 4
    assert guest.count("busy-gateway") == 3


def test_translation_puts_the_header_of_the_guide_ahead() -> None:
    """MODBUS Messaging on TCP/IP Implementation Guide V1.0b, 3.1.3 (from memory): number, 0, length."""
    guest = at_the_box("translation-mode", "way: to-net")
    data = guest.ask()
    assert data[:6] == bytes((0, 1, 0, 0, 0, 5))
    assert data[6:9] == bytes((1, 3, 2))
    assert len(data) == 11


@pytest.mark.parametrize(("part", "back"), [("tail, bytes: 3", 3), ("all, delay: 2 ms", 8)])
def test_a_partial_or_late_echo_stands_ahead_of_the_reply(part: str, back: int) -> None:
    guest = at_the_box("echo", f"part: {part}")
    data = guest.ask()
    assert data[:back] == READ_ONE[-back:]
    assert sound(data[back:])
    assert guest.count("echo") == 1


def test_a_damaged_echo_differs_in_one_bit() -> None:
    guest = at_the_box("echo", "damaged: 1")
    data = guest.ask()
    wrong = int.from_bytes(data[:8]) ^ int.from_bytes(READ_ONE)
    assert wrong.bit_count() == 1


def test_a_client_that_asks_beside_another_gets_what_it_is_said_to_get() -> None:
    guest = at_the_box("second-client", "rate: 20 /s, replies: last-client")
    guest.wait(S)
    assert guest.data == b"", "they went to the other one, who asked last"
    guest = at_the_box("second-client", "rate: 20 /s")
    guest.wait(S)
    assert sound(guest.got[0][1])


def test_requests_of_two_clients_are_mixed_byte_by_byte() -> None:
    guest = at_the_box("second-client", "rate: 20 /s, requests: interleaved")
    guest.wait(S)
    guest.ask()
    mixed = guest.texts(BURST, 6)[-1]
    assert mixed[::2] == READ_ONE == mixed[1::2]

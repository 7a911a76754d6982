"""Faults of cameras that need an order, a search or another fault to show."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from fault_guests import READ_ONE, Guest
from fault_halls import MS, Broken, S, hall

from busim.plan import read_text
from busim.protocols import READ, SAVE, SEARCH, WRITE, Reply, Request, search
from busim.recording.trace import BURST, Record
from busim.runtime.session import Run
from busim.simulator.faults.catalogue.overloaded_line import lost_share
from busim.simulator.faults.catalogue.sagging_supply import voltages

WRITE_IRIS = Request(1, WRITE, 0, 1, (7,))


def begun(fault: str, more: str = "", on: str = "rope left") -> Run:
    """A hall whose masters are outside, with a fault that is on."""
    run = Run(hall(f"{{fault: {fault}, on: {on}{', ' + more if more else ''}}}"), 1, played=())
    run.advance(S)
    return run


@pytest.mark.parametrize(
    ("when", "then"),
    [("never", (False, False)), ("later, delay: 100 ms", (False, True)), ("after-reboot", (False, False))],
)
def test_a_setting_is_acknowledged_and_applied_when_it_is_said(when: str, then: tuple[bool, bool]) -> None:
    guest = Guest(hall(f"{{fault: unapplied-settings, on: rope left, when: {when}}}"))
    guest.wait(MS)
    guest.connect()
    camera = guest.run.world.cameras["rope left"].camera
    before = camera.values["iris"]
    raw = guest.run.world.protocols["wall line"].encode_request(WRITE_IRIS)
    assert guest.ask(raw, 50 * MS) == raw, "V1.1b3, 6.6: the reply to a write of one register is its echo"
    assert (camera.values["iris"] == 7) is then[0]
    guest.wait(200 * MS)
    assert (camera.values["iris"] == 7) is then[1]
    guest.run.power("rope left", False)
    guest.run.power("rope left", True)
    guest.wait(20 * S)
    assert camera.values["iris"] == (7 if when == "after-reboot" else before)
    assert guest.count("unapplied-settings") == 1


def test_a_bystander_misses_its_own_request_where_another_is_silent() -> None:
    confused = "{fault: confused-bystander, on: rope right}"
    assert Broken(confused).count("confused-bystander") == 0
    run = Broken(confused + "\n{fault: dead-camera, on: rope left}")
    assert run.count("confused-bystander") > 0
    assert run.camera("rope right", "time_outs") > 0
    assert run.camera("rope top", "time_outs") == 0


@pytest.mark.parametrize(
    ("until", "swallowed"), [("idle, idle: 5 s", 3), ("length, bytes: 9", 2), ("idle, idle: 1 ms", 0)]
)
def test_a_parser_is_stuck_after_half_a_request(until: str, swallowed: int) -> None:
    guest = Guest(hall(f"{{fault: stuck-parser, on: rope left, until: {until}}}"))
    guest.wait(MS)
    guest.connect()
    guest.ask(READ_ONE[:5], 50 * MS)
    answers = [bool(guest.ask()) for _ in range(3)]
    assert answers.count(False) == swallowed == guest.count("stuck-parser")


@pytest.mark.parametrize(("order", "serial"), [("little", 0x0B000000), ("bcd", 0x11), ("bcd-little", 0x11000000)])
def test_a_search_finds_the_serial_number_in_another_order(order: str, serial: int) -> None:
    run = begun("serial-byte-order", f"order: {order}")
    port = run.world.cameras["rope left"]  # its serial number is 11
    reply = port.camera.serve(search(port.protocol), S)
    assert reply.values == (serial,)


@pytest.mark.parametrize(
    ("how", "answers"),
    [
        ("out-of-range", lambda clean, got: got == [clean]),
        ("twice", lambda clean, got: got == [clean, clean]),
        ("too-long", lambda clean, got: got == [clean + bytes(2)]),
        ("too-short", lambda clean, got: got == [clean[:-2]]),
        ("hides-others", lambda clean, got: got == [clean]),
    ],
)
def test_a_camera_misbehaves_in_a_search(how: str, answers: Callable[[bytes, list[bytes]], bool]) -> None:
    """The cameras have the serial numbers 11, 12 and 13; the search is for 11 alone, or for 11 and 12."""
    high = {"out-of-range": 10, "hides-others": 12}.get(how, 11)
    run = begun("bad-search-reply", f"how: {how}")
    port = run.world.cameras["rope left"]
    clean = port.protocol.encode_reply(Reply(1, SEARCH, 0, (11,)))
    records: list[Record] = []
    run.world.lines["wall line"].tells = records.append
    for one in run.world.cameras.values():
        one.asked(search(port.protocol, 0, high), S)
    run.advance(2 * S)
    assert answers(clean, [record[6] for record in records if record[2] == port.number])
    assert {record[2] for record in records} == {port.number}
    assert run.faults[0].count > 0


def test_a_camera_answers_broadcasts_and_damaged_frames() -> None:
    guest = Guest(hall("{fault: answers-any-id, on: rope left, answers: broadcasts}"))
    guest.wait(MS)
    guest.connect()
    raw = guest.run.world.protocols["wall line"].encode_request(WRITE_IRIS._replace(address=0))
    assert guest.ask(raw)[:1] == b"\1"
    guest = Guest(hall("{fault: answers-any-id, on: rope left, answers: damaged}"))
    guest.wait(MS)
    guest.connect()
    assert guest.ask(READ_ONE[:-1]) == b"\x15"
    assert guest.count("answers-any-id") == 1


def test_a_camera_greets_the_line_when_it_has_booted() -> None:
    run = Broken("{fault: camera-reboot, on: rope left, at: 1 s, chatter: 'EE EE'}", length=10 * S)
    left = run.number("rope left")
    first = next(record for record in run.of(BURST) if record[2] == left and record[3] > 2 * S)
    assert first[6] == b"\xee\xee"
    assert first[3] >= S + run.run.world.cameras["rope left"].camera.model.timing.boot


def test_a_camera_is_deaf_after_a_broadcast_and_then_hears_again() -> None:
    run = begun("busy-after-broadcast", "length: 100 ms")
    port = run.world.cameras["rope left"]
    port.asked(Request(0, WRITE, 0, 1, (5,)), S)
    port.asked(Request(1, READ, 0, 1), S + 99 * MS)
    assert run.faults[0].count == 1
    port.asked(Request(1, READ, 0, 1), S + 100 * MS)
    assert run.faults[0].count == 1


def test_the_last_cameras_brown_out_when_others_work_and_come_back() -> None:
    """12 V, 0.2 ohm/m, 3 cameras at 12, 20 and 35 m, 0.2 A each: 12 V - 1.44 - 0.64 - 0.6 at the last (Ohm's law)."""
    assert voltages(12.0, 0.2, [12.0, 20.0, 35.0], [0.2, 0.2, 0.2]) == pytest.approx([10.56, 9.92, 9.32])
    run = begun("sagging-supply", "ohms: 0.1, active: 1, works: 300 ms, least: 10.1", on="wall line")
    cameras = run.world.cameras
    cameras["rope left"].asked(WRITE_IRIS, S)  # 12 V - 1.2 ohm x 1.4 A = 10.32 V, then 10.0 V and 9.7 V
    run.advance(S)
    assert [cameras[name].powered for name in ("rope left", "rope right", "rope top")] == [True, False, False]
    assert run.faults[0].count == 2
    run.advance(2 * S)
    assert all(port.powered for port in cameras.values())


def test_a_camera_that_saves_in_a_sag_may_forget_what_it_was() -> None:
    run = begun("sagging-supply", "ohms: 0.1, active: 2, loss: 1", on="wall line")
    port = run.world.cameras["rope top"]
    port.camera.begin_with({"iris": 77})
    port.asked(Request(3, SAVE, 0, 0), S)
    run.advance(S)
    assert not port.powered
    assert port.camera.values["iris"] != 77


def test_a_margin_above_400_mv_loses_nothing_and_below_200_mv_all() -> None:
    """TIA/EIA-485-A: +-200 mV are the thresholds of a receiver; the ramp above is common practice, no source."""
    assert [lost_share(volts) for volts in (1.5, 0.4, 0.3, 0.2, 0.1)] == pytest.approx([0, 0, 0.5, 1, 1])


@pytest.mark.parametrize("mode", ["space", "mark"])
def test_a_stuck_driver_grows_hot_and_rests(mode: str) -> None:
    fault = f"{{fault: stuck-transmitter, on: rope left, mode: {mode}, works: 400 ms, rests: 200 ms}}"
    run = Broken(fault, length=2 * S)
    held = [record for record in run.of(BURST) if record[6] == b"" and record[2] == run.number("rope left")]
    lengths = [record[4] - record[3] for record in held]
    assert lengths[:2] == [400 * MS, 400 * MS]
    assert held[1][3] - held[0][4] == 200 * MS
    assert {run.run.world.settings[record[5] - 1].inverted for record in held} == {mode == "mark"}


def test_a_driver_held_at_mark_garbles_others_where_space_does_not_win() -> None:
    fault = "{fault: stuck-transmitter, on: rope left, mode: mark}"
    plan = read_text(hall(fault).source.replace("baud: 38400 Bd", "baud: 38400 Bd\n    contention: nearer-wins"))
    run = Broken(plan=plan, length=2 * S)
    assert run.camera("rope top", "time_outs") > 3, "the held driver is nearer to it than the converter"

"""MODBUS exchanges on the emulated line, against the standards and their arithmetic.

MODBUS over Serial Line V1.02 and MODBUS Application Protocol V1.1b3 are the standards of these names. Checksums of
the frames sent here come from crccheck, so that busim's own codec is not its judge.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from small_plans import KeepingListener, sealed, wall

from busim.foundation.units import CharFormat
from busim.recording.trace import BURST, EXCHANGE, FRAME, Record
from busim.runtime.session import Run
from busim.simulator.bus import Station, setting
from busim.simulator.world import World, build

CHARACTER = Fraction(11 * 10**9, 19200)  # ns, 8E1
T35 = Fraction(7, 2) * CHARACTER  # V1.02, p. 13
T15 = Fraction(3, 2) * CHARACTER


class Bench:
    """Cameras on a line, a silent master, and a probe at the same end that sends and hears raw bytes."""

    def __init__(
        self, *, cameras: int = 1, turnaround: str = "1 ms", every: str = "0", starts_at: str = "3600 s"
    ) -> None:
        plan = wall(cameras=cameras, turnaround=turnaround, every=every, master=f"starts_at: {starts_at}")
        self.records: list[Record] = []
        self.world: World = build(plan, 1, self.records.append)
        self.line = self.world.lines["wall"]
        self.probe = Station("probe", 0.0, setting(Fraction(19200), CharFormat.parse("8E1")))
        self.group = KeepingListener(self.probe)
        self.line.attach(self.probe, self.group)
        self.world.start()

    def send(self, at: int, data: bytes) -> None:
        """Put bytes on the line at `at` ns."""
        self.world.kernel.at(at, lambda raw: self.line.send(self.probe, raw), data)

    def ask(self, text: str) -> str:
        """Send one frame, wait half a second; returns the reply as hexadecimal without its CRC."""
        self.group.characters.clear()
        self.send(self.world.kernel.now, sealed(text))
        self.world.kernel.advance(self.world.kernel.now + 500_000_000)
        data = self.group.data
        assert not data or sealed(data[:-2].hex()) == data
        return data[:-2].hex(" ").upper()

    def values(self, camera: str = "c1") -> dict[str, int]:
        return dict(self.world.cameras[camera].camera.values)

    def of(self, kind: int) -> list[Record]:
        return [record for record in self.records if record[0] == kind]


# -- the time of an exchange ---------------------------------------------------------------------------------


@pytest.mark.parametrize("cameras", [1, 8])
def test_polling_three_registers_at_19200_takes_14_896_ms_each(cameras: int) -> None:
    """Derived from V1.02, p. 13 and V1.1b3, 6.3: 8 + 11 characters, twice t3.5: 67.1 /s; eight: 119.2 ms, 8.39 Hz."""
    exchange = 19 * CHARACTER + 2 * T35
    assert float(exchange) / 1e6 == pytest.approx(14.896, abs=0.001)
    records: list[Record] = []
    world = build(wall(cameras=cameras), 1, records.append)
    world.start()
    world.kernel.advance(60 * 10**9)
    world.finish()
    polls = [record for record in records if record[0] == EXCHANGE]
    assert {record[12] for record in polls} == {"ok"}
    starts = [record[9] for record in polls]
    assert all(abs(later - start - exchange) <= 1000 for start, later in pairwise(starts))
    mine = starts[::cameras]
    cycle = Fraction(mine[-1] - mine[0], len(mine) - 1)  # of the first camera, mean
    assert float(cycle) / 1e6 == pytest.approx(cameras * float(exchange) / 1e6, abs=cameras * 0.001)
    assert 1e9 / float(cycle) == pytest.approx({1: 67.1, 8: 8.39}[cameras], rel=0.001)


def test_the_figures_tell_the_same_poll_rate() -> None:
    """67.1 /s on the line and 8.39 /s for each of eight cameras: derived as above."""
    run = Run(wall(cameras=8), 1)
    run.advance(60 * 10**9)
    run.finish()
    (line,) = run.report().lines
    assert line.figures["poll_rate"].value == pytest.approx(67.1, abs=0.05)
    assert line.figures["load"].value == pytest.approx(1.0, abs=1e-4)
    wire = float(19 * CHARACTER / (19 * CHARACTER + 2 * T35))
    assert line.figures["occupancy"].value == pytest.approx(wire, abs=1e-4)
    for camera in line.cameras:
        assert camera.figures["poll_rate"].value == pytest.approx(8.39, abs=0.02)


@pytest.mark.parametrize("after", ["0", "1 m", "300 m"])
def test_a_clean_run_takes_the_fast_path_wherever_its_stations_are(after: str) -> None:
    """The next request may begin in the nanosecond in which the silence after a reply ends."""
    run = Run(wall(cameras=2, after=after), 1)
    run.advance(5 * 10**9)
    run.finish()
    assert run.report().lines[0].figures["fast_share"].value == 1.0


def test_the_instant_of_reading_is_known_wherever_the_master_stands() -> None:
    """It is t3.5 behind the last character of the request (V1.02, p. 13), as the camera at 1 m hears it."""
    records: list[Record] = []
    world = build(wall(), 1, records.append)
    world.start()
    world.kernel.advance(10**9)
    for record in records:
        if record[0] == EXCHANGE:
            sent, read_at = record[9], record[13]
            assert read_at - sent == pytest.approx(float(8 * CHARACTER + T35), abs=10)


# -- what ends a frame ---------------------------------------------------------------------------------------

READ = sealed("01 03 00 00 00 03")
ANSWERED = "01 03 06 01 F4 00 00 00 01"  # iris 500, gain 0, shutter 1: the model's defaults


def _broken_at_4(gap: float) -> Bench:
    """A read request with `gap` ns of silence between its fourth and its fifth character."""
    bench = Bench()
    bench.send(0, READ[:4])
    bench.send(round(4 * CHARACTER + gap), READ[4:])
    bench.world.kernel.advance(10**9)
    return bench


def test_a_gap_of_less_than_t15_inside_a_request_does_no_harm() -> None:
    """V1.02, p. 13."""
    bench = _broken_at_4(float(T15) - 1000)
    assert bench.group.data == sealed(ANSWERED)
    assert bench.of(FRAME) == []


def test_a_request_with_a_gap_of_more_than_t15_is_not_answered() -> None:
    """V1.02, p. 13: the frame is declared incomplete and discarded."""
    for gap in (float(T15) + 1000, float(T35) - 1000):
        bench = _broken_at_4(gap)
        assert bench.group.data == b""
        ((_, _, _, _, what, data),) = bench.of(FRAME)
        assert (what, data) == ("gap", READ)


def test_a_request_cut_by_t35_of_silence_is_two_frames_and_not_answered() -> None:
    """V1.02, p. 13."""
    bench = _broken_at_4(float(T35) + 1000)
    assert bench.group.data == b""
    assert [record[4:] for record in bench.of(FRAME)] == [("check", READ[:4]), ("check", READ[4:])]


@pytest.mark.parametrize(("gap", "answer"), [(float(T35) + 1000, ANSWERED), (float(T35) - 1000, "")])
def test_two_requests_are_two_frames_only_with_t35_between_them(gap: float, answer: str) -> None:
    """V1.02, p. 13. The first one is for an ID that nobody has."""
    bench = Bench()
    bench.send(0, sealed("09 03 00 00 00 03"))
    bench.send(round(8 * CHARACTER + gap), READ)
    bench.world.kernel.advance(10**9)
    assert bench.group.data == (sealed(answer) if answer else b"")


def test_a_camera_answers_t35_and_its_turnaround_after_the_request() -> None:
    """V1.02, p. 13, to 1 us at 1 m."""
    bench = Bench(turnaround="7 ms")
    bench.ask("01 03 00 00 00 03")
    request, reply = bench.of(BURST)
    assert reply[3] - request[4] == pytest.approx(float(T35) + 7_000_000, abs=1000)


# -- what is answered ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("request_text", "reply"),
    [
        ("01 03 00 00 00 03", ANSWERED),
        ("01 06 00 00 00 7B", "01 06 00 00 00 7B"),  # V1.1b3, 6.6: the reply repeats the request
        ("01 10 00 0B 00 02 04 00 0A 01 02", "01 10 00 0B 00 02"),  # 6.12: start and quantity
        ("01 04 00 00 00 01", "01 84 01"),  # function not supported: exception 01 (V1.1b3, chapter 7)
        ("01 2B 0E 01 00", "01 AB 01"),
        ("01 41 00", "01 C1 01"),
        ("01 03 00 0E 00 02", "01 83 02"),  # 6.3: address + quantity beyond what is there: exception 02
        ("01 03 00 32 00 01", "01 83 02"),
        ("01 03 FF FF 00 02", "01 83 02"),
        ("01 06 00 32 00 01", "01 86 02"),
        ("01 06 00 67 00 01", "01 86 02"),  # temperature: not to be written
        ("01 10 00 0E 00 02 04 00 01 00 01", "01 90 02"),
        ("01 03 00 00 00 00", "01 83 03"),  # 6.3: a quantity outside 1..125: exception 03
        ("01 03 00 00 00 7E", "01 83 03"),
        ("01 10 00 00 00 00 00", "01 90 03"),  # 6.12: outside 1..123, or a byte count that is not twice of it
        ("01 10 00 00 00 02 02 00 01", "01 90 03"),
        ("01 06 00 00 03 E9", "01 86 03"),  # iris 1001 of 0..1000: a value out of range
        ("01 06 00 03 00 02", "01 86 03"),
        ("01 10 00 00 00 02 04 00 01 00 49", "01 90 03"),  # gain 73 of 0..72
    ],
)
def test_a_request_gets_the_reply_or_the_exception_of_the_standard(request_text: str, reply: str) -> None:
    """MODBUS Application Protocol V1.1b3, 6.3, 6.6, 6.12 and 7."""
    assert Bench().ask(request_text) == reply


def test_a_refused_write_changes_nothing() -> None:
    bench = Bench()
    before = bench.values()
    assert bench.ask("01 10 00 00 00 02 04 00 01 00 49") == "01 90 03"  # the iris would do, the gain would not
    after = bench.values()
    assert {name for name in before if before[name] != after[name]} == {"requests"}


def test_a_broadcast_is_carried_out_by_all_and_answered_by_none() -> None:
    """V1.02, p. 8: address 0; no response is returned to broadcast requests."""
    bench = Bench(cameras=3)
    assert bench.ask("00 06 00 00 00 7B") == ""
    assert [bench.values(name)["iris"] for name in ("c1", "c2", "c3")] == [123, 123, 123]
    assert bench.ask("00 10 00 01 00 02 04 00 05 00 04") == ""
    assert [bench.values(name)["gain"] for name in ("c1", "c2", "c3")] == [5, 5, 5]
    assert len(bench.of(BURST)) == 2


@pytest.mark.parametrize("request_text", ["00 03 00 00 00 03", "00 41 00", "00 06 00 32 00 01", "00 03 00 00 00 00"])
def test_a_broadcast_that_can_only_be_answered_or_refused_is_passed_over(request_text: str) -> None:
    """V1.02, p. 8."""
    assert Bench(cameras=2).ask(request_text) == ""


def test_a_damaged_request_is_not_answered() -> None:
    """V1.02, 2.5.1.2: a frame with a wrong CRC is ignored."""
    bench = Bench()
    bench.send(0, READ[:-1] + bytes((READ[-1] ^ 1,)))
    bench.world.kernel.advance(10**9)
    assert bench.group.data == b""
    assert [record[4] for record in bench.of(FRAME)] == ["check"]


def test_a_frame_of_more_than_256_bytes_is_discarded() -> None:
    """V1.02, p. 13. The line is quiet behind it, and the next request is answered."""
    bench = Bench()
    bench.send(0, sealed("01 41" + " 00" * 253))  # 257 bytes
    bench.world.kernel.advance(10**9)
    assert [record[4] for record in bench.of(FRAME)] == ["length"]
    assert bench.group.data == b""
    assert bench.ask("01 41" + " 00" * 252) == "01 C1 01"  # 256 bytes


# -- the one that asks ---------------------------------------------------------------------------------------


def test_a_reply_from_an_unexpected_device_does_not_end_the_wait() -> None:
    """V1.02, p. 9-10: the master goes on waiting; the right reply, 50 ms later, is taken."""
    bench = Bench(turnaround="50 ms", every="500 ms", starts_at="1 s")
    bench.send(1_020_000_000, sealed("02 03 06 00 01 00 02 00 03"))
    bench.world.kernel.advance(1_400_000_000)
    (exchange,) = bench.of(EXCHANGE)
    assert exchange[12] == "ok"
    assert exchange[10] - exchange[9] == pytest.approx(float(19 * CHARACTER + T35) + 50_000_000, abs=1000)


def test_a_camera_that_is_asked_by_the_wrong_id_lets_the_master_wait_in_vain() -> None:
    """Only what the addressed device sends counts (V1.02, p. 9-10): a stranger's reply alone ends in a failure."""
    plan = wall(absent=(1,), every="500 ms")
    records: list[Record] = []
    world = build(plan, 1, records.append)
    probe = Station("probe", 0.0, setting(Fraction(19200), CharFormat.parse("8E1")))
    world.lines["wall"].attach(probe, KeepingListener(probe))
    world.start()
    world.kernel.at(8_000_000, lambda raw: world.lines["wall"].send(probe, raw), sealed("02 03 06 00 01 00 02 00 03"))
    world.kernel.advance(400_000_000)
    exchanges = [record for record in records if record[0] == EXCHANGE]
    assert [record[12] for record in exchanges] == ["damaged"]  # characters came, but no reply of this camera's


def test_a_request_that_never_found_the_line_quiet_is_not_sent_after_it_was_given_up() -> None:
    """Something chatters every 3 ms for 900 ms; the master listens for 5 ms and has given up 18 requests by then."""
    records: list[Record] = []
    world = build(wall(turnaround="1 ms", every="50 ms", master="listen: 5 ms"), 1, records.append)
    line = world.lines["wall"]
    probe = Station("probe", 0.0, setting(Fraction(19200), CharFormat.parse("8E1")))
    line.attach(probe, KeepingListener(probe))
    world.start()
    for number in range(300):
        world.kernel.at(1000 + number * 3_000_000, lambda raw: line.send(probe, raw), b"\x55")
    world.kernel.advance(1_500_000_000)
    requests = [record for record in records if record[0] == BURST and len(record[6]) == 8]
    outcomes = [record[12] for record in records if record[0] == EXCHANGE and record[9] > 950_000_000]
    assert len(requests) == pytest.approx(600 / 50, abs=2)  # one every 50 ms since the line was quiet
    assert set(outcomes) == {"ok"}

"""Cameras in running plans: power, new bus IDs, saves, their records, and models in files beside the plan."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from small_plans import sealed

from busim.analysis.budget import budget
from busim.foundation.diagnostics import Findings
from busim.foundation.units import Spread
from busim.plan import Plan, defaults, read, read_text
from busim.plan.models import load, starter
from busim.recording.trace import BURST, CHANGE, EFFECT, Record
from busim.runtime.session import Run, replay
from busim.simulator.world import World, build

MS = 10**6
SECOND = 10**9

PLAN = """
busim: 1
name: mats
lines:
  - name: mats
    baud: 38400 Bd
    format: 8E1
    protocol: modbus-rtu
    order: [{converter: box}, {camera: left, after: 3 m}, {camera: right, after: 7 m}, {camera: corner, after: 7 m}]
converters:
  - {name: box, endpoint: "198.51.100.44:15001", latency: 1 ms, packing: {idle: 2 ms}}
cameras:
  - {name: left, model: MODEL, bus_id: 1, serial: 11, turnaround: 1 ms}
  - {name: right, model: MODEL, bus_id: 2, serial: 12, turnaround: 1 ms}
  - {name: corner, model: MODEL, bus_id: 3, serial: 13, turnaround: 1 ms}
"""


class Hall:
    """Three cameras behind a converter, and a client that polls them through it."""

    def __init__(self, model: str = "zoom-camera") -> None:
        self.records: list[Record] = []
        self.world: World = build(read_text(PLAN.replace("MODEL", model)), 1, self.records.append, played=[])
        self.world.start()
        self.heard: list[bytes] = []
        self._box = self.world.converters["box"]
        self._box.open(1, lambda data, *_: self.heard.append(data))
        self.now = 0

    def run(self, ns: int) -> Hall:
        self.now += ns
        self.world.kernel.advance(self.now)
        return self

    def ask(self, text: str, *, wait: int = 60 * MS) -> bytes:
        """Send a frame (CRC added) and wait; returns the bytes that cameras sent by then."""
        since = len(self.records)
        self._box.chunk(1, sealed(text))
        self.run(wait)
        return b"".join(
            record[6] for record in self.records[since:] if record[0] == BURST and record[2] != self._box.number
        )

    def told(self, camera: str, kind: int = EFFECT) -> list[str]:
        number = self.world.cameras[camera].number
        return [record[4] if kind == EFFECT else f"{record[3]} {record[4]}" for record in self.records
                if record[0] == kind and record[2] == number]  # fmt: skip

    def power(self, camera: str, on: bool, after: int = 0) -> None:
        self.world.cameras[camera].power(on, self.now + after)
        self.run(after)

    def id(self, camera: str) -> int:
        return self.world.cameras[camera].camera.bus_id


READ_SERIAL = "{} 03 00 65 00 01"
SERIALS = {"left": "00 0B", "right": "00 0C", "corner": "00 0D"}


def serial(id: int, camera: str) -> bytes:
    return sealed(f"{id:02X} 03 02 {SERIALS[camera]}")


# -- power ------------------------------------------------------------------------------------------------------


def test_a_camera_without_power_neither_hears_nor_answers_and_the_others_do() -> None:
    hall = Hall()
    hall.power("right", False)
    assert hall.ask(READ_SERIAL.format("02")) == b""
    assert hall.ask(READ_SERIAL.format("01")) == serial(1, "left")
    assert hall.told("right") == ["is without power"]


def test_a_camera_hears_again_when_it_has_booted() -> None:
    hall = Hall()  # boots in 6 s
    hall.power("left", False)
    hall.power("left", True)
    hall.run(5_900 * MS)
    assert hall.ask(READ_SERIAL.format("01")) == b""
    hall.run(200 * MS)
    assert hall.ask(READ_SERIAL.format("01")) == serial(1, "left")
    assert hall.told("left") == ["is without power", "has booted"]


def test_a_reply_that_had_not_begun_when_the_power_went_never_comes() -> None:
    hall = Hall()
    hall.world.cameras["left"].power(False, 6 * MS)  # asked at about 5 ms, answers a millisecond later
    asked = hall.ask(READ_SERIAL.format("01"), wait=30 * MS)
    assert asked == b""
    assert hall.world.cameras["left"].camera.values["requests"] == 1


def test_a_reply_that_is_on_the_wire_when_the_power_goes_breaks_off() -> None:
    hall = Hall()
    whole = hall.ask(READ_SERIAL.format("01"), wait=30 * MS)
    start, end = next((record[3], record[4]) for record in hall.records if record[0] == BURST and record[6] == whole)
    asked = start - hall.now + 30 * MS  # its turnaround
    hall.world.cameras["left"].power(False, hall.now + asked + (end - start) // 2)
    went = hall.now + asked + (end - start) // 2
    part = hall.ask(READ_SERIAL.format("01"), wait=30 * MS)
    assert part == whole[: len(part)]
    assert len(part) == 4
    assert max(record[4] for record in hall.records if record[0] == BURST) == went


def test_cameras_come_up_in_whatever_order_they_get_power() -> None:
    hall = Hall()
    for name in SERIALS:
        hall.power(name, False)
    for name, id in (("corner", 3), ("left", 1), ("right", 2)):
        hall.power(name, True)
        hall.run(7 * SECOND)
        assert [hall.ask(READ_SERIAL.format(f"0{number}")) != b"" for number in (1, 2, 3)] == [
            hall.world.cameras[one].powered for one in SERIALS
        ]
        assert hall.ask(READ_SERIAL.format(f"0{id}")) == serial(id, name)


def test_power_on_and_off_in_quick_turns_boots_once_from_the_last() -> None:
    hall = Hall()
    hall.power("left", False)
    hall.power("left", True)
    hall.power("left", False, after=SECOND)
    hall.power("left", True)
    hall.power("left", True)
    hall.run(5_500 * MS)
    assert hall.told("left").count("has booted") == 0
    hall.run(SECOND)
    assert hall.told("left").count("has booted") == 1


def test_a_power_cut_brings_back_what_was_saved() -> None:
    hall = Hall()
    hall.ask("01 06 00 00 00 64")  # iris 100
    hall.ask("01 06 00 C8 00 01", wait=SECOND)  # save
    hall.ask("01 06 00 00 00 C8")
    hall.power("left", False)
    hall.power("left", True)
    hall.run(7 * SECOND)
    assert hall.ask("01 03 00 00 00 01") == sealed("01 03 02 00 64")
    assert hall.told("left", CHANGE) == ["iris 100", "iris 200", "iris 100"]


# -- bus IDs ------------------------------------------------------------------------------------------------------


def test_a_camera_answers_to_its_new_id_and_acknowledges_under_the_old_one() -> None:
    hall = Hall()
    assert hall.ask("01 06 00 C9 00 07") == sealed("01 06 00 C9 00 07")
    assert hall.ask(READ_SERIAL.format("07")) == serial(7, "left")
    assert hall.ask(READ_SERIAL.format("01")) == b""
    assert hall.told("left", CHANGE) == ["bus_id 7"]


def test_a_broadcast_change_of_id_is_carried_out_by_all_that_hear_it() -> None:
    hall = Hall()
    hall.power("right", False)
    assert hall.ask("00 06 00 C9 00 09", wait=200 * MS) == b""  # a broadcast is not answered: V1.02, p. 8
    assert [hall.id(name) for name in SERIALS] == [9, 2, 9]
    hall.power("left", False)
    assert hall.ask(READ_SERIAL.format("09")) == serial(9, "corner")


def test_a_broadcast_change_of_id_leaves_all_cameras_answering_at_once() -> None:
    hall = Hall()
    hall.ask("00 06 00 C9 00 09", wait=200 * MS)
    hall.ask(READ_SERIAL.format("09"))
    assert any(record[0] == BURST and record[7] for record in hall.records)  # the exact path: they collide


def test_commissioning_one_by_one_by_power_gives_each_its_id() -> None:
    """Common practice, no source: all come with one ID; power one more each time, and move it out of the way."""
    hall = Hall("pan-tilt-head")
    hall.ask("00 06 00 C9 00 0A", wait=200 * MS)
    hall.ask("00 06 00 C8 00 01", wait=200 * MS)  # saved: it takes effect after a reboot
    for name in SERIALS:
        hall.power(name, False)
    for number, name in enumerate(SERIALS):
        hall.power(name, True)
        hall.run(5 * SECOND)
        assert hall.ask("0A 06 00 C9 00 " + f"{number + 21:02X}") != b""
        hall.ask("0A 06 00 C8 00 01", wait=SECOND)
        hall.ask("0A 06 00 C8 00 02", wait=5 * SECOND)  # reboot
    assert [hall.id(name) for name in SERIALS] == [21, 22, 23]
    assert [hall.ask(READ_SERIAL.format(f"{id:02X}")) for id in (21, 22, 23)] == [
        serial(21, "left"), serial(22, "right"), serial(23, "corner")
    ]  # fmt: skip


# -- saving, rebooting, motors ------------------------------------------------------------------------------------


def test_a_reboot_is_acknowledged_first() -> None:
    hall = Hall("minicam")  # boots in 2 s
    assert hall.ask("01 06 00 C8 00 02") == sealed("01 06 00 C8 00 02")
    assert hall.ask(READ_SERIAL.format("01")) == b""
    hall.run(2 * SECOND)
    assert hall.ask(READ_SERIAL.format("01")) == serial(1, "left")
    assert hall.told("left") == ["reboots", "is without power", "has booted"]


def test_a_camera_that_is_deaf_while_it_saves_hears_nothing_and_then_does() -> None:
    hall = Hall("minicam")  # 250 ms
    assert hall.ask("01 06 00 C8 00 01") == sealed("01 06 00 C8 00 01")
    assert hall.ask(READ_SERIAL.format("01")) == b""
    hall.run(250 * MS)
    assert hall.ask(READ_SERIAL.format("01")) == serial(1, "left")


def test_a_camera_that_lost_power_before_its_answer_is_out_does_not_go_deaf_when_it_has_booted() -> None:
    """It gets an order to save and loses power before it answers: the order is forgotten."""
    hall = Hall("minicam")
    camera = hall.world.cameras["left"].camera
    camera.model = replace(camera.model, timing=replace(camera.model.timing, boot=0))
    hall.ask("01 06 00 C8 00 01", wait=0)
    served = False
    while not served:  # up to the instant at which it has the request
        hall.run(MS // 10)
        served = hall.world.cameras["left"].last_request is not None
    hall.power("left", False)
    hall.power("left", True)
    hall.run(100 * MS)
    assert hall.ask(READ_SERIAL.format("01")) == serial(1, "left")


def test_a_camera_that_saves_and_says_so_answers_busy() -> None:
    hall = Hall()
    hall.ask("01 06 00 C8 00 01")
    assert hall.ask(READ_SERIAL.format("01")) == sealed("01 83 06")  # slave device busy: V1.1b3, chapter 7


def test_where_a_motor_is_can_be_read_on_its_way_and_its_arrival_is_told() -> None:
    hall = Hall()
    hall.ask("01 06 00 0B 01 F4")  # zoom 500: two seconds at 250 /s
    position = int.from_bytes(hall.run(SECOND).ask("01 03 00 0B 00 01")[3:5])
    assert 250 < position < 290
    hall.run(2 * SECOND)
    assert hall.told("left", CHANGE) == [f"zoom {position}", "zoom 500"]
    arrived = [record[1] for record in hall.records if record[0] == CHANGE][-1]
    assert 2 * SECOND < arrived < 2_010 * MS


def test_the_trace_tells_why_a_locked_write_was_refused() -> None:
    hall = Hall()
    hall.ask("01 06 00 04 00 01")
    assert hall.ask("01 06 00 05 00 09") == sealed("01 86 03")
    assert hall.told("left") == ["write of red_gain 9: automatic white balance sets the colour gains itself"]


# -- models beside a plan -------------------------------------------------------------------------------------------


def own_plan(folder: Path, change: str = "", text: str = "") -> Plan:
    (folder / "wall-camera.yaml").write_text(text or starter("wall-camera"))
    left = "model: MODEL, bus_id: 1, serial: 11, turnaround: 1 ms"
    plan = PLAN.replace(left, f"model: ./wall-camera.yaml, bus_id: 1{change}")
    plan += "masters:\n  - {name: desk, through: [box], groups: [{name: fast, values: [iris, gain, zoom]}]}\n"
    (folder / "plan.yaml").write_text(plan.replace("MODEL", "zoom-camera"))
    return read(folder / "plan.yaml")


def test_a_trace_keeps_the_model_and_replays_without_its_file(tmp_path: Path) -> None:
    (tmp_path / "hall").mkdir()
    run = Run(own_plan(tmp_path / "hall"), 1, trace=tmp_path / "old.trace")
    run.advance(2 * SECOND)
    run.finish()
    shutil.rmtree(tmp_path / "hall")
    again = replay(tmp_path / "old.trace")
    assert again.complete
    assert again.difference is None


def test_mistakes_in_a_model_are_told_once_and_in_its_file(tmp_path: Path) -> None:
    plan = own_plan(tmp_path, text=starter("wall-camera").replace("kind: switch", "kind: swich"))
    plan = read_text(plan.source.replace("model: zoom-camera", "model: ./wall-camera.yaml"), plan.path)
    for use in (lambda: Run(plan, 1), lambda: budget(plan)):
        with pytest.raises(Findings) as caught:
            use()
        assert [(one.code, one.file) for one in caught.value.findings] == [
            ("bad-value", str(tmp_path / "wall-camera.yaml"))
        ]


def test_a_model_that_is_not_there_is_told(tmp_path: Path) -> None:
    plan = own_plan(tmp_path)
    (tmp_path / "wall-camera.yaml").unlink()
    with pytest.raises(Findings, match="cannot be read"):
        Run(read_text(plan.source, plan.path), 1)


def test_what_a_plan_does_not_say_of_the_turnaround_its_model_does(tmp_path: Path) -> None:
    own, *others = own_plan(tmp_path).cameras
    assert own.turnaround == Spread(2 * MS, 6 * MS)
    assert {camera.turnaround for camera in others} == {Spread(MS, MS)}
    said = own_plan(tmp_path, ", turnaround: 9 ms")
    assert said.cameras[0].turnaround == Spread(9 * MS, 9 * MS)
    silent = read_text(PLAN.replace(", turnaround: 1 ms", "").replace("MODEL", "slow-motion-camera"))
    assert {camera.turnaround for camera in silent.cameras} == {load("slow-motion-camera").timing.turnaround}
    assert defaults(silent)["cameras"][0]["turnaround"] == {"low": MS, "high": 4 * MS}


def test_a_budget_knows_a_model_beside_the_plan(tmp_path: Path) -> None:
    (line,) = budget(own_plan(tmp_path)).lines
    assert line is not None

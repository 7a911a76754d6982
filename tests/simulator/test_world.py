"""The world joins plan and parts: exchange records of its ports, and all mistakes of a plan at once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from small_plans import wall

from busim.foundation.diagnostics import Findings
from busim.plan import PanelPlan, Plan, change, read_text
from busim.recording.trace import BURST, EXCHANGE, Record, open_trace
from busim.runtime.session import Run
from busim.simulator.world import World, build

TURNAROUND = 1_000_000

BARE = """
busim-model: 1
name: bare
title: a camera without an iris
parameters: {gain: {group: exposure, kind: range}}
keys: {modbus-rtu: {gain: 0}}
"""

SHARED = """
busim: 1
name: one camera, two masters
lines:
  - name: wall
    baud: 115200 Bd
    format: 8E1
    protocol: modbus-rtu
    order: [{converter: box}, {camera: mat, after: 10 m}, {master: laptop, after: 10 m}]
converters:
  - {name: box, endpoint: "198.51.100.44:15001", packing: {idle: 2 ms}, latency: 20 ms}
cameras:
  - {name: mat, bus_id: 1, serial: 7, turnaround: 1 ms}
masters:
  - name: desk
    through: [box]
    groups: [{name: fast, values: [iris, gain, shutter], every: 90 ms}]
  - name: laptop
    on: [wall]
    groups: [{name: watch, values: [temperature], every: 25 ms}]
    listen: 3 ms
"""


def _run(plan: Plan, **how: bool) -> tuple[World, list[Record]]:
    records: list[Record] = []
    world = build(plan, 1, records.append, **how)
    world.start()
    world.kernel.advance(2_000_000_000)
    return world, records


def _answers(records: list[Record], camera: int, size: int) -> set[int]:
    """Instants of the requests that the camera answered with so many bytes: its answers less the turnaround."""
    return {
        record[3] - TURNAROUND
        for record in records
        if record[0] == BURST and record[2] == camera and len(record[6]) == size
    }


def test_an_exchange_names_the_instant_at_which_its_own_request_was_served() -> None:
    """The laptop asks the same camera again while the answer to the desk is still on its way through the box."""
    world, records = _run(read_text(SHARED))
    camera = world.cameras["mat"].number
    numbers = {name.name: name.row for name in world.names}
    for master, values in (("desk", 3), ("laptop", 1)):
        served = {
            record[13]
            for record in records
            if record[0] == EXCHANGE and record[2] == numbers[master] and record[12] == "ok"
        }
        assert len(served) > 15
        assert served <= _answers(records, camera, 5 + 2 * values)


def test_what_a_client_from_outside_asked_has_the_instant_of_its_own_serving() -> None:
    records: list[Record] = []
    world = build(read_text(SHARED), 1, records.append, played=["laptop"], watched=True)
    world.start()
    box = world.converters["box"]
    box.open(1, lambda *_: None)
    question = bytes.fromhex("01 03 00 00 00 03 05 CB")
    for number in range(20):
        world.kernel.at(number * 90_000_000, lambda _: box.chunk(1, question))
    world.kernel.advance(2_000_000_000)
    exchanges = [record for record in records if record[0] == EXCHANGE and record[5] == "foreign"]
    served = {record[13] for record in exchanges if record[12] == "ok"}
    assert len(served) > 10
    assert served <= _answers(records, world.cameras["mat"].number, 11)


# -- everything wrong with what a plan names, at once --------------------------------------------------------

WRONG = """
busim: 1
name: one wall
lines:
  - {name: wall,
     baud: 38400 Bd, format: 8E1, protocol: modbus-rtu, order: [{converter: box}, {camera: mat}, {camera: top}]}
  - {name: lane, baud: 38400 Bd, format: 8E1, protocol: modbus-rut, order: [{converter: lane box}, {camera: start}]}
converters:
  - {name: box, endpoint: "198.51.100.44:15001"}
  - {name: lane box, endpoint: "198.51.100.45:15001"}
cameras:
  - {name: mat, bus_id: 248}
  - {name: top, bus_id: 2}
  - {name: start, bus_id: 3, model: zoom-camra}
masters:
  - name: desk
    through: [box]
    groups:
      - {name: fast, values: [iris, irris, gain]}
      - {name: slow, values: [tally, sound]}
panels:
  - {name: hall, master: desk, cameras: [mat, top], controls: [iris, shuter, temperature], moves: 1 /s}
"""


READ_ONLY = "this value is read-only: name one of these"


def _place(text: str, word: str) -> tuple[int, int]:
    line = next(number for number, line in enumerate(text.splitlines(), 1) if word in line)
    return line, text.splitlines()[line - 1].index(word) + 1


def test_everything_that_a_plan_names_and_that_is_not_there_is_told_at_once_with_its_place() -> None:
    with pytest.raises(Findings) as caught:
        build(read_text(WRONG, "wall.yaml"), 1, lambda _: None)
    told = [(each.code, each.field, (each.line, each.column), each.mend) for each in caught.value.findings]
    assert told == [
        ("unknown-protocol", "lines[1].protocol", _place(WRONG, "modbus-rut,"), "did you mean `modbus-rtu`?"),
        ("id-out-of-range", "cameras[0].bus_id", _place(WRONG, "248"), "give the camera an ID in this range"),
        ("unknown-model", "cameras[2].model", _place(WRONG, "zoom-camra"), "did you mean `zoom-camera`?"),
        ("polled-value-nobody-has", "masters[0].groups[0].values[1]", _place(WRONG, "irris"), "did you mean `iris`?"),
        ("polled-value-nobody-has", "masters[0].groups[1].values[1]", _place(WRONG, "sound"), "name one of these"),
        ("control-camera-lacks", "panels[0].controls[1]", _place(WRONG, "shuter"), "did you mean `shutter`?"),
        ("control-cannot-be-set", "panels[0].controls[2]", _place(WRONG, "temperature]"), READ_ONLY),
    ]
    assert {each.file for each in caught.value.findings} == {"wall.yaml"}


def test_a_camera_that_its_panel_s_master_does_not_ask_is_told() -> None:
    """In a plan that was made in Python; in a file the reader finds it."""
    plan = read_text(SHARED)
    panel = PanelPlan("hall", "desk", ("mat",), ("iris",))
    master = replace(plan.masters[0], cameras=("another",))
    with pytest.raises(Findings) as caught:
        build(replace(plan, panels=(panel,), masters=(master,)), 1, lambda _: None)
    assert [(each.code, each.field) for each in caught.value.findings] == [("out-of-reach", "panels[0].cameras[0]")]


def test_a_model_that_does_not_speak_the_protocol_of_its_line_is_told() -> None:
    mute = BARE.replace("modbus-rtu", "text").replace("gain", "iris")
    with pytest.raises(Findings) as caught:
        build(read_text(SHARED.replace("name: mat,", "name: mat, model: ./mute.yaml,"), files={"./mute.yaml": mute}),
              1, lambda _: None)  # fmt: skip
    told = [(each.code, each.field, each.expected) for each in caught.value.findings]
    assert told[0] == ("model-lacks-protocol", "cameras[0].model", "text")


def test_a_value_that_only_some_cameras_have_is_read_from_those() -> None:
    plan = wall(cameras=2, values="[iris]", turnaround="1 ms")
    bare = replace(plan.cameras[1], model="./bare.yaml")
    plan = replace(plan, cameras=(plan.cameras[0], bare), files={"./bare.yaml": BARE})
    world, records = _run(plan)
    asked = {record[3] for record in records if record[0] == EXCHANGE}
    assert asked == {world.cameras["c1"].number}


# -- settings as the trace names them ------------------------------------------------------------------------


def test_drivers_that_switch_at_other_times_have_settings_of_their_own_in_the_trace(tmp_path: Path) -> None:
    plan = wall(cameras=3, turnaround="1 ms")
    plan = change(plan, {"cameras[c2].driver": "{lead: -5 us, hold: 20 us}"})
    trace = tmp_path / "run.busim"
    run = Run(plan, 1, trace=trace)
    run.advance(100_000_000)
    run.finish()
    with open_trace(trace) as opened:
        assert [(row.lead, row.hold) for row in opened.settings.values()] == [(0, 0), (-5_000, 20_000)]
        cameras = {number: name.name for number, name in opened.names.items() if name.kind == "camera"}
        used = {cameras.get(record[2]): record[5] for record in opened.records(BURST)}
    assert used == {None: 1, "c1": 1, "c2": 2, "c3": 1}


@pytest.mark.parametrize(("lines", "share"), [(1, 850_000), (2, 350_000), (20, 0)])
def test_in_wall_time_what_cameras_hear_waits_for_the_lines_share_of_a_turnaround(lines: int, share: int) -> None:
    """Turnaround 1 ms, 150 us to catch up, which each of both waits loses. With 20 lines nothing is left of it."""
    more = "".join(
        f"  - {{name: empty {n}, baud: 9600 Bd, format: 8N1, protocol: modbus-rtu}}\n" for n in range(1, lines)
    )
    plan = read_text(SHARED.replace("converters:\n", more + "converters:\n", 1))
    kernel = build(plan, 1, lambda _: None, margin=150_000).kernel
    kernel.at(0, lambda _: None)
    inside = kernel.wake_by()
    assert inside == 20_000_000 + 52_083 - 150_000  # the passage, and six bits at 115200 Bd
    kernel.advance(0)
    kernel.at_heard(10, lambda _: None)
    assert kernel.wake_by() == 10 + inside + share


def test_a_fault_ends_the_wait_for_a_turnaround() -> None:
    world = build(read_text(SHARED), 1, lambda _: None, margin=150_000)
    world.faults.on("lost-reply", "mat", {})
    world.kernel.at_heard(0, lambda _: None)
    assert world.kernel.wake_by() == 20_000_000 + 52_083 - 150_000

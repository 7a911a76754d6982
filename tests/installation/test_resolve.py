"""An installation: every name of a plan looked up once, and every unresolved name reported with its place."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from places import SCENARIOS

from busim.foundation.diagnostics import Findings
from busim.installation import POLICY, MasterPolicy, outline, resolve
from busim.plan import Plan, read, read_text
from busim.protocols import READ, WRITE, Request

PLAN = """
busim: 1
name: one wall
lines:
  - name: wall
    baud: 38400 Bd
    format: 8E1
    protocol: modbus-rtu
    order:
      - terminator
      - {converter: box, after: 2 m}
      - {camera: mat, after: 9 m}
      - {camera: top, after: 9 m}
      - terminator
converters:
  - {name: box, endpoint: "198.51.100.44:15001", packing: {idle: 4 ms}, latency: 1 ms}
cameras:
  - {name: mat, bus_id: 7, model: minicam, turnaround: 2 ms}
  - {name: top, bus_id: 8, model: zoom-camera, factory_id: 31}
masters:
  - {name: desk, through: [box], groups: [{name: fast, values: [gain, focus], every: 1 s}]}
panels:
  - {name: hall, master: desk, cameras: [top], controls: [zoom, iris], moves: 3 /s}
"""


@pytest.fixture
def plan() -> Plan:
    return read_text(PLAN, "wall.yaml")


def test_stations_stand_on_their_line_in_order_with_their_metres(plan: Plan) -> None:
    (line,) = resolve(plan).lines
    assert [(one.field, one.place.kind, one.place.name, one.place.metres) for one in line.stations] == [
        ("lines[0].order[0]", "terminator", "", 0),
        ("lines[0].order[1]", "converter", "box", 2),
        ("lines[0].order[2]", "camera", "mat", 11),
        ("lines[0].order[3]", "camera", "top", 20),
        ("lines[0].order[4]", "terminator", "", 20),
    ]


def test_a_master_polls_of_each_camera_the_values_that_its_model_has(plan: Plan) -> None:
    (asker,) = resolve(plan).lines[0].askers
    read = [(poll.camera.name, poll.run.work, poll.run.value) for poll in asker.polls]
    keys = resolve(plan).cameras["top"].speaks.keys
    later = max(("gain", "focus"), key=keys.__getitem__)  # its run has the key in its name
    assert [value for camera, _, value in read if camera == "mat"] == ["gain"]
    assert {value: work for camera, work, value in read if camera == "top"} == {
        value: f"fast from {keys[value]}" if value == later else "fast" for value in ("gain", "focus")
    }
    gain = next(poll for poll in asker.polls if poll.camera.name == "mat")
    assert gain.request == Request(7, READ, gain.camera.speaks.keys["gain"], 1)
    assert gain.run.every == 1_000_000_000


def test_a_panel_has_one_command_per_camera_and_control_and_they_share_its_rate(plan: Plan) -> None:
    (panel,) = resolve(plan).panels
    assert [(one.camera.name, one.control, one.rate) for one in panel.commands] == [
        ("top", "zoom", 1.5),
        ("top", "iris", 1.5),
    ]
    zoom = panel.commands[0]
    assert zoom.request(300) == Request(8, WRITE, zoom.camera.speaks.keys["zoom"], 1, (300,))


def test_what_a_camera_does_not_say_its_model_says(plan: Plan) -> None:
    cameras = resolve(plan).cameras
    assert cameras["mat"].factory_id == cameras["mat"].model.bus.factory_id
    assert cameras["top"].factory_id == 31
    assert cameras["top"].unpowered == cameras["top"].model.bus.unpowered


def test_a_port_has_its_own_baud_before_that_of_its_line() -> None:
    own = PLAN.replace("latency: 1 ms}", "latency: 1 ms, driver: {baud: 9600 Bd}}")
    (line,) = resolve(read_text(own)).lines
    assert line.askers[0].port.baud == 9600
    assert [camera.port.baud for camera in line.cameras] == [38400, 38400]


def test_an_installation_is_resolved_once(plan: Plan) -> None:
    site = resolve(plan)
    assert resolve(site) is site


def test_an_outline_goes_as_far_as_names_have_a_meaning_and_says_why_no_further(plan: Plan) -> None:
    broken = replace(plan, cameras=(replace(plan.cameras[0], model="zoom-camra"), plan.cameras[1]))
    site = outline(broken)
    assert [(one.code, one.field, one.mend) for one in site.findings] == [
        ("unknown-model", "cameras[0].model", "did you mean `zoom-camera`?")
    ]
    assert not site.lines[0].usable
    assert site.cameras["mat"].spoken is None
    assert site.cameras["top"].spoken is not None
    with pytest.raises(Findings) as caught:
        resolve(site)
    assert caught.value.findings == site.findings


def test_an_id_by_which_the_protocol_speaks_to_all_is_told_apart_from_one_out_of_range(plan: Plan) -> None:
    cameras = (replace(plan.cameras[0], bus_id=0), replace(plan.cameras[1], bus_id=248))
    site = outline(replace(plan, cameras=cameras))
    assert [one.code for one in site.findings] == ["broadcast-id", "id-out-of-range"]


def test_the_pause_of_a_probe_doubles_up_to_its_longest() -> None:
    policy = MasterPolicy(first_pause=1, longest_pause=5)
    assert [policy.next_pause(pause) for pause in (1, 2, 4, 5)] == [2, 4, 5, 5]
    assert policy.growing_probes == 3  # 1 to 2, to 4, to 5
    assert POLICY.growing_probes == 4  # 0.5 s to 1, to 2, to 4, to 5


@pytest.mark.parametrize("path", sorted(SCENARIOS.glob("*/plan.yaml")), ids=lambda path: path.parent.name)
def test_the_scenarios_are_installations(path: Path) -> None:
    assert outline(read(path)).findings == ()


def test_a_camera_that_stands_on_no_line_is_no_part_of_the_installation(plan: Plan) -> None:
    """No plan that is read has one; a split that could not place a camera makes such a plan."""
    line = replace(plan.lines[0], order=tuple(at for at in plan.lines[0].order if at.name != "mat"))
    site = outline(replace(plan, lines=(line,)))
    assert list(site.cameras) == ["top"]
    assert [camera.name for camera in site.lines[0].askers[0].cameras] == ["top"]


def test_each_value_is_written_of_a_model_or_a_default_and_has_its_place(plan: Plan) -> None:
    origin = resolve(plan).origin
    places = [
        (field, (origin(field).kind, origin(field).line))
        for field in ("cameras[0].turnaround", "cameras[1].turnaround", "converters[0].latency", "converters[0].wires")
    ]
    mat, top, box = (
        next(number for number, line in enumerate(PLAN.splitlines(), 1) if f"- {{name: {name}," in line)
        for name in ("mat", "top", "box")
    )
    assert [place for _, place in places] == [("written", mat), ("model", top), ("written", box), ("default", box)]

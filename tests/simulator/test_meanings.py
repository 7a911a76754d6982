"""A plan names parameters by their meaning: one panel moves two models with different names for one thing."""

from __future__ import annotations

from pathlib import Path

import pytest
from serving import busim_here
from test_own_camera import MODEL

from busim.analysis.budget import budget
from busim.analysis.budget.case import Move, cases
from busim.analysis.check import check
from busim.plan import Plan, read
from busim.plan.models import read_text as read_model
from busim.recording.trace import CHANGE, EXCHANGE, Record
from busim.runtime.session import Run

PLAN = """
busim: 1
name: kerb and wall
lines:
  - name: pair
    baud: 115200 Bd
    format: 8E1
    order: [terminator, {converter: box}, {camera: wall, after: 8 m}, {camera: kerb, after: 5 m}, terminator]
    protocol: modbus-rtu
converters:
  - {name: box, endpoint: "198.51.100.44:15001"}
cameras:
  - {name: wall, bus_id: 3}
  - {name: kerb, bus_id: 9, model: ./kerb-camera.yaml}
masters:
  - {name: controller, through: [box], groups: [{name: fast, values: [shutter, gain], every: 100 ms}]}
panels:
  - {name: desk, master: controller, cameras: [wall, kerb], controls: [shutter], moves: 4 /s}
"""
TIME = 1  # the register of the kerb camera's `time`, which is its shutter


@pytest.fixture
def plan(tmp_path: Path) -> Plan:
    (tmp_path / "kerb-camera.yaml").write_text(MODEL, encoding="utf-8")
    (tmp_path / "plan.yaml").write_text(PLAN, encoding="utf-8")
    return read(tmp_path / "plan.yaml")


def test_a_word_means_the_parameter_of_that_name_or_the_only_one_of_that_meaning() -> None:
    model = read_model(MODEL)
    assert model.called("gain") == "gain"
    assert model.called("shutter") == "time"
    assert model.called("bars") == "bars"
    twice = read_model(MODEL.replace("shade: {group: picture,", "shade: {meaning: shutter, group: picture,"))
    assert twice.called("shutter") == "shutter"  # two have this meaning: ambiguous


def test_polls_and_moves_reach_what_each_camera_calls_by_a_name_of_its_own(plan: Plan) -> None:
    records: list[Record] = []
    run = Run(plan, 1, also=records.append)
    run.advance(20 * 10**9)
    numbers = {name.name: name.row for name in run.world.names}
    changed = {(record[2], record[3]) for record in records if record[0] == CHANGE}
    assert changed == {(numbers["kerb"], "time"), (numbers["wall"], "shutter")}
    of_kerb = [record for record in records if record[0] == EXCHANGE and record[3] == numbers["kerb"]]
    assert {record[5] for record in of_kerb} == {"poll", "command"}
    assert {record[12] for record in of_kerb if record[5] == "poll"} == {"ok"}


def test_budget_and_check_take_the_same_words(plan: Plan) -> None:
    (line,) = budget(plan).lines
    assert not line.obstacles
    assert {move.control for move in _moves(plan)} == {"time", "shutter"}
    found = {finding.code for finding in check(plan).findings}
    assert not found & {"control-camera-lacks", "polled-value-camera-lacks", "shared-control-not-polled"}


def _moves(plan: Plan) -> list[Move]:
    (case,) = cases(plan)
    return list(case.moves)


def test_a_rehearsal_moves_what_each_camera_calls_by_a_name_of_its_own(plan: Plan) -> None:
    done = busim_here("rehearse", plan.path, "--json")
    assert done.returncode == 0, done.stdout + done.stderr

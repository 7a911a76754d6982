"""The plans of the scenarios: each can be read, and describes the situation that its head names."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from places import SCENARIOS

from busim.plan import Plan, defaults, read
from busim.plan.models import load

PLANS = sorted(SCENARIOS.glob("*/plan.yaml"))


def plan_of(name: str) -> Plan:
    return read(SCENARIOS / name / "plan.yaml")


@pytest.mark.parametrize("path", PLANS, ids=lambda path: path.parent.name)
def test_a_scenario_reads_and_says_in_its_head_what_it_teaches(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert json.dumps(defaults(read(path)))
    head = [line for line in text[: text.index("busim: 1")].split("\n") if line.startswith("#")]
    assert any("It teaches" in line for line in head)


@pytest.mark.parametrize("path", PLANS, ids=lambda path: path.parent.name)
def test_a_scenario_polls_and_moves_only_what_its_cameras_have(path: Path) -> None:
    plan = read(path)
    known = {parameter.name for camera in plan.cameras for parameter in load(camera.model).parameters}
    asked = {value for master in plan.masters for group in master.groups for value in group.values}
    moved = {control for panel in plan.panels for control in panel.controls}
    assert asked | moved <= known


@pytest.mark.parametrize("path", PLANS, ids=lambda path: path.parent.name)
def test_the_lines_of_a_scenario_are_terminated_at_both_ends_and_nowhere_else(path: Path) -> None:
    # exactly two, at the two ends: TI SLLA272 sec. 6; MODBUS over Serial Line V1.02, 3.4.5
    for line in read(path).lines:
        kinds = [place.kind for place in line.order]
        assert [kinds[0], kinds[-1], kinds.count("terminator")] == ["terminator", "terminator", 2]


def test_the_climbing_hall_has_two_chains_of_four_and_one_camera_alone_behind_three_converters() -> None:
    plan = plan_of("climbing-hall")
    cameras = [sum(place.kind == "camera" for place in line.order) for line in plan.lines]
    assert sorted(cameras) == [1, 4, 4]
    assert [str(line.baud) for line in plan.lines] == ["38400", "38400", "115200"]
    assert (len(plan.cameras), len(plan.converters), len(plan.panels), len(plan.masters)) == (9, 3, 2, 1)
    assert set(plan.masters[0].through) == {converter.name for converter in plan.converters}
    assert {converter.host.rpartition(".")[0] for converter in plan.converters} == {"198.51.100"}


def test_two_masters_stand_on_one_line_and_the_second_does_not_listen() -> None:
    plan = plan_of("two-masters")
    first, second = plan.masters
    assert (len(plan.lines), len(plan.cameras)) == (1, 3)
    assert first.through
    assert (second.on, second.listen) == ((plan.lines[0].name,), 0)


def test_the_factory_fresh_chain_has_four_cameras_all_on_id_one_whose_replies_must_overlap() -> None:
    plan = plan_of("factory-fresh")
    assert [camera.bus_id for camera in plan.cameras] == [1, 1, 1, 1]
    # the shortest reply here, three registers: 11 characters of 8E1 (MODBUS over Serial Line V1.02, 2.5.1)
    reply = 11 * 11 * 10**9 / plan.lines[0].baud
    latest = max(camera.turnaround.high for camera in plan.cameras)
    assert latest - min(camera.turnaround.low for camera in plan.cameras) < reply

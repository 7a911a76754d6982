"""A changed plan is read again from its text; one changed in memory is refused where the text is needed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from places import SCENARIOS
from virtual_halls import MS, hall

import busim
from busim.foundation.diagnostics import Findings
from busim.foundation.errors import UserError
from busim.plan import change, read, source_text, spelled
from busim.recording.trace import open_trace
from busim.runtime.session import Run, Virtual, replay


def test_a_changed_plan_runs_and_replays_as_it_says(tmp_path: Path) -> None:
    plan = change(hall(masters="both"), {"cameras[wall high].bus_id": 7, "lines[0].baud": "38400 Bd"})
    assert [camera.bus_id for camera in plan.cameras] == [1, 7, 3]
    assert plan.lines[0].baud == 38400
    run = Run(plan, 1, trace=tmp_path / "changed.busim")
    run.advance(500 * MS)
    run.finish()
    assert replay(tmp_path / "changed.busim").difference is None
    with open_trace(tmp_path / "changed.busim") as trace:
        assert "38400" in str(trace.head["plan_text"])


def test_values_of_every_kind_can_be_set_and_comments_stay() -> None:
    before = read(SCENARIOS / "climbing-hall" / "plan.yaml")
    name = before.cameras[0].name
    after = busim.change_plan(before, {f"cameras[{name}].present": False, f"cameras[{name}].serial": 4711})
    assert (after.cameras[0].present, after.cameras[0].serial) == (False, 4711)
    assert after.cameras[1:] == before.cameras[1:]
    assert after.files == before.files
    comments = [line.strip() for line in before.source.splitlines() if line.strip().startswith("#")]
    assert comments
    assert [line.strip() for line in after.source.splitlines() if line.strip().startswith("#")] == comments


def test_what_cannot_be_set_is_said_with_its_field() -> None:
    with pytest.raises(UserError, match="no such field"):
        change(hall(), {"camera[0].bus_id": 7})
    with pytest.raises(Findings, match=r"cameras\[1\]"):
        change(hall(), {"cameras[0].bus_id": 2, "cameras[1].bus_id": "many"})


def test_a_plan_that_was_changed_in_memory_is_refused_where_its_text_counts(tmp_path: Path) -> None:
    plan = hall(masters="both")
    changed = replace(plan, cameras=(replace(plan.cameras[0], bus_id=9), *plan.cameras[1:]))
    for use in (
        lambda: source_text(changed),
        lambda: spelled(changed),
        lambda: Run(changed, 1, trace=tmp_path / "run.busim"),
        lambda: Virtual(changed, trace=tmp_path / "virtual.busim").__enter__(),
        lambda: change(changed, {}),
    ):
        with pytest.raises(UserError, match=r"not those of its text.*busim\.change_plan"):
            use()
    assert not list(tmp_path.iterdir())
    Run(changed, 1).advance(MS)  # without a trace nothing is to be replayed


def test_a_plan_at_another_path_is_still_the_one_that_was_read() -> None:
    assert source_text(replace(hall(), path="elsewhere.yaml")) == hall().source

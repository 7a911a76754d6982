"""A report prints a camera under its present bus ID, whatever changed it."""

from __future__ import annotations

from pathlib import Path

from small_plans import wall

from busim.recording.trace import open_trace
from busim.runtime.session import Report, Run
from busim.runtime.session.compare import recorded_report


def _ids(report: Report) -> dict[str, int]:
    return {camera.name: camera.bus_id for line in report.lines for camera in line.cameras}


def test_a_camera_that_got_another_id_is_reported_under_it_live_and_from_the_trace(tmp_path: Path) -> None:
    run = Run(wall(cameras=2, turnaround="1 ms"), 1, trace=tmp_path / "run.busim")
    run.advance(100_000_000)
    planned = _ids(run.report())
    run.world.wiring.fit("c2", 77, 4711)
    run.advance(200_000_000)
    run.finish()
    assert planned == {"c1": 1, "c2": 2}
    assert _ids(run.report()) == {"c1": 1, "c2": 77}
    with open_trace(tmp_path / "run.busim") as trace:
        assert _ids(recorded_report(trace)) == {"c1": 1, "c2": 77}

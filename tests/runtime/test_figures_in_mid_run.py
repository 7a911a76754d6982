"""Records are folded in batches, and figures asked for at any time have every record so far."""

from __future__ import annotations

from fuzzed_halls import HALLS, MS

from busim.recording.figures import Fold
from busim.recording.trace import BURST, Record
from busim.runtime.session import Run


def test_figures_asked_for_in_mid_run_have_every_record_so_far() -> None:
    records: list[Record] = []
    run = Run(HALLS["rates"], 1, also=records.append)
    counts = []
    for at in (90 * MS, 2200 * MS, 2300 * MS, 9000 * MS):  # less than a batch, more than one, and in between
        run.advance(at)
        line = run.report().lines[0]
        one_by_one = Fold()
        for record in records:
            one_by_one.take(record)
        assert line.figures == one_by_one.line(1, at)
        assert [camera.figures for camera in line.cameras] == [
            one_by_one.camera(1, number, at) for number in one_by_one.camera_numbers(1)
        ]
        counts.append(sum(1 for record in records if record[0] == BURST))
    assert counts == sorted(set(counts))
    assert len(records) > 1024

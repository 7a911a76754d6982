"""Age as served: what a session with an outside client says of a value's age, against the definition and its trace.

Age is now minus the instant at which the camera read the value that is shown (Kaul, Yates, Gruteser, "Real-time
status: how often should one update?", INFOCOM 2012; from memory). Each reply shows a value from its arrival on.
"""

from __future__ import annotations

import asyncio
from itertools import pairwise
from pathlib import Path

import pytest
from budget_plans import box
from serving import read_frame
from virtual_halls import BOX, MS, hall

from busim.analysis.budget import budget, mean_age
from busim.plan.models import load
from busim.recording.trace import EXCHANGE, INPUT, Record, open_trace
from busim.runtime.session import Report, Run, Virtual, replay

IRIS = load("zoom-camera").keys["modbus-rtu"]["iris"]
PAUSES = (0.013, 0.2, 0.05, 0.031, 0.11)  # s of a client that asks as it likes
CAMERA, CAMERAS = "wall low", ("wall low", "wall high", "wall mats")


async def asking(rounds: int) -> None:
    """An outside client over the plan's converter: three cameras in turn, with uneven pauses."""
    reader, writer = await asyncio.open_connection(*BOX)
    for number in range(rounds):
        for camera in range(len(CAMERAS)):
            writer.write(read_frame(camera + 1, IRIS))
            await reader.readexactly(7)
            await asyncio.sleep(0.003)
        await asyncio.sleep(PAUSES[number % len(PAUSES)])
    writer.close()
    await writer.wait_closed()


def shown(report: Report, camera: str) -> tuple[float, float]:
    """Mean and worst age of a session's figures, ns."""
    figures = report.lines[0].camera(camera)
    mean, worst = figures["age_mean"].value, figures["age_worst"].value
    assert mean is not None
    assert worst is not None
    return 1e9 * mean, 1e9 * worst


def defined(polls: list[Record], until: int) -> tuple[float, float]:
    """The same from the trace, by the definition: the age rises by a ns each ns, and falls when a reply arrives."""
    there, read = [row[10] for row in polls], [row[13] for row in polls]
    area = worst = 0
    for (begin, end), of in zip(pairwise([*there, until]), read, strict=True):
        area += ((end - of) ** 2 - (begin - of) ** 2) // 2
        worst = max(worst, end - of)
    return area / (until - there[0]), worst


def polls_of(path: Path) -> tuple[dict[str, list[Record]], int]:
    """The answered exchanges of each camera in a trace, and the instant at which its client went."""
    with open_trace(path) as trace:
        names = {number: name.name for number, name in trace.names.items()}
        rows: dict[str, list[Record]] = {name: [] for name in CAMERAS}
        for row in trace.records(EXCHANGE):
            rows[names[row[3]]].append(row)
        closed = [record[1] for record in trace.records(INPUT) if record[4] == "close"]
    return rows, closed[-1]


def test_the_age_of_a_served_session_is_what_the_definition_computes_from_its_trace(tmp_path: Path) -> None:
    path = tmp_path / "served.busim"
    session = Virtual(hall(latency="200..900 us"), 3, trace=path)
    session.run(asking, 60)
    rows, until = polls_of(path)
    again = replay(path)
    for camera in CAMERAS:
        assert len(rows[camera]) == 60
        mean, worst = defined(rows[camera], until)
        assert shown(session.report(), camera) == (pytest.approx(mean, rel=1e-9), pytest.approx(worst, rel=1e-9))
        assert shown(again.report, camera) == shown(session.report(), camera)


def test_a_run_and_the_budget_mean_the_same_age(tmp_path: Path) -> None:
    """The run as above; E[C^2] / (2 E[C]) + D of its cycles and delays to 0.1 %, and the budget to 1 %."""
    path = tmp_path / "run.busim"
    run = Run(box(cameras=3), 3, trace=path)
    run.advance(60_000 * MS)
    run.finish()
    with open_trace(path) as trace:
        polls = [row for row in trace.records(EXCHANGE) if trace.names[row[3]].name == "c2"]
    mean, worst = defined(polls, 60_000 * MS)
    found = run.report().lines[0].camera("c2")
    assert 1e9 * (found["age_mean"].value or 0) == pytest.approx(mean, rel=1e-9)
    assert 1e9 * (found["age_worst"].value or 0) == pytest.approx(worst, rel=1e-9)
    cycles = [later[10] - earlier[10] for earlier, later in pairwise(polls)]
    delays = [row[10] - row[13] for row in polls]
    square = sum(cycle**2 for cycle in cycles) / len(cycles)
    law = mean_age(sum(cycles) / len(cycles), square, sum(delays) / len(delays))
    assert law == pytest.approx(mean, rel=1e-3)
    (line,) = budget(box(cameras=3), what_ifs=False).lines
    assert 1e9 * (line.cameras[1].figures["age_mean"].value or 0) == pytest.approx(mean, rel=0.01)

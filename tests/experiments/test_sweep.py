"""Sweeps: equal to the budget point by point, the same with any worker, resumed where they stopped."""

from __future__ import annotations

import csv
import shutil
import sys
from concurrent.futures import CancelledError, Executor, Future
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from budget_plans import SLOW, box
from hypothesis import given, settings
from hypothesis import strategies as st
from places import TOP

from busim.analysis.budget import PollSchedule, budget, cases
from busim.cli import sweep as command
from busim.experiments.plots import sweep_map, to_svg
from busim.experiments.sweep import Axis, Sweep, compute, parse_axis, points, simulate, vary
from busim.foundation.errors import UserError
from busim.plan import read
from busim.protocols import starter
from busim.runtime.sweep_workers import WorkerGone, cluster, processes, simulated_sweep

PLAN = str(TOP / "scenarios/climbing-hall/plan.yaml")
AXES = [parse_axis(text) for text in ("line.baud=9600,38400,115200", "cameras=1..6", "converter.packing=1..20 ms/3")]


def _expected(line: Any) -> dict[str, float | None]:
    ages = [camera.figures["age_mean"].value for camera in line.cameras if not camera.trouble]
    figures = {name: line.figures[name].value for name in ("poll_rate", "occupancy", "load", "headroom")}
    return figures | {"cycle": min(group.cycle.mean for group in line.groups), "age_mean": float(np.mean(ages))}


@pytest.mark.parametrize(
    "plan",
    [
        {},
        {"more": SLOW},
        {"absent": (2,)},
        {"every": "300 ms"},
        {"every": "80 ms", "more": SLOW},
        {"every": "2 s", "absent": (2,)},
    ],
    ids=["restless", "two groups", "one dead", "paced", "too fast a pace", "one dead, paced"],
)
def test_a_computed_sweep_has_the_budget_of_every_point(plan: dict[str, Any]) -> None:
    planned = box(**plan)
    (swept,) = compute(planned, AXES).lines
    for number, place in enumerate(points(AXES)):
        line = budget(vary(planned, [axis.name for axis in AXES], place), what_ifs=False).lines[0]
        if "lose their places" in "".join(line.remarks):
            found = swept.values["cycle"][number]  # a sweep says that it does not count these
            assert found < min(group.cycle.mean for group in line.groups) < 1.1 * found
            continue
        for name, expected in _expected(line).items():
            if name == "age_mean" and np.isnan(swept.values[name][number]):
                continue  # of groups of different intervals, see below
            found = swept.values[name][number]
            assert np.isnan(found) if expected is None else found == pytest.approx(expected, rel=1e-12), (name, place)


@given(
    st.sampled_from(["camera.turnaround=0,2..20 ms", "converter.latency=0,1..5ms", "master.gap=0,30ms",
                     "group.every=0,200ms,2s", "line.bit_error_rate=0,1e-5,1e-4", "panel.moves=0,1 /s,5 /s"]),
    st.sampled_from(["", SLOW]),
)  # fmt: skip
@settings(deadline=None, max_examples=15)
def test_every_axis_has_the_cycle_that_its_plan_has(text: str, more: str) -> None:
    """With moves and noise too, where every move counts as sent."""
    plan = box(more=more, moves="1 /s", packing="{idle: 3 ms, length: 0}")
    axis = parse_axis(text)
    (swept,) = compute(plan, [axis]).lines
    for number, value in enumerate(axis.values):
        pace = PollSchedule(cases(vary(plan, [axis.name], [value]))[0], exact=False)
        assert swept.values["cycle"][number] == pytest.approx(pace.shortest / 1e9, rel=1e-12)


def test_moves_are_computed_where_they_are_asked_for() -> None:
    plan, axis = box(moves="3 /s"), parse_axis("line.baud=19200,57600")
    (swept,) = compute(plan, [axis], figures=["move_mean"]).lines
    moves = [budget(vary(plan, [axis.name], [value])).lines[0].moves for value in axis.values]
    assert swept.values["move_mean"].tolist() == [one.mean for one in moves if one is not None]


def test_ages_of_groups_of_different_intervals_are_those_of_the_budget_where_they_are_asked_for() -> None:
    plan, axis = box(every="300 ms", more=SLOW), parse_axis("line.baud=38400,115200")
    (quick,) = compute(plan, [axis]).lines
    (swept,) = compute(plan, [axis], figures=["age_mean"]).lines
    lines = [budget(vary(plan, [axis.name], [value]), what_ifs=False).lines[0] for value in axis.values]
    assert np.isnan(quick.values["age_mean"]).all()
    assert swept.values["age_mean"].tolist() == [_expected(line)["age_mean"] for line in lines]


def test_commands_make_ages_of_a_sweep_older_as_those_of_the_budget() -> None:
    plan, axis = box(every="300 ms", moves="1 /s", controls="[iris]"), parse_axis("line.baud=38400,115200")
    (swept,) = compute(plan, [axis]).lines
    for number, value in enumerate(axis.values):
        line = budget(vary(plan, [axis.name], [value]), what_ifs=False).lines[0]
        assert swept.values["age_mean"][number] == pytest.approx(_expected(line)["age_mean"], rel=1e-4)


def test_a_need_means_the_same_in_budget_and_sweep() -> None:
    """10 Hz wanted of a plan that polls at 5 Hz: the answer is about the line, not about the plan's pause."""
    axes = [parse_axis("cameras=1..10")]
    for plan in ({"every": "200 ms"}, {"more": SLOW}, {"every": "200 ms", "more": SLOW, "moves": "1 /s"}):
        (swept,) = compute(box(**plan), axes, need=10).lines
        needs = [budget(box(cameras=count, **plan), need=10, what_ifs=False).lines[0].need for count in range(1, 11)]
        assert swept.feasible.tolist() == [one is not None and one.reached for one in needs], plan


def test_a_point_is_feasible_where_the_need_is_met_and_groups_keep_their_pace() -> None:
    axes = [parse_axis("cameras=1..10")]
    (swept,) = compute(box(), axes, need=10).lines
    assert swept.feasible.tolist() == [cycle <= 0.1 for cycle in swept.values["cycle"]]
    assert swept.feasible.any()
    (paced,) = compute(box(every="60 ms"), axes).lines
    assert paced.feasible.tolist() == [bool(cycle < 0.0600001) for cycle in paced.values["cycle"]]


def test_where_there_is_no_steady_state_there_is_no_number() -> None:
    (swept,) = compute(box(master="time_out: 17 ms"), [parse_axis("camera.turnaround=1ms,2..6ms")]).lines
    assert not np.isnan(swept.values["cycle"][0])
    assert np.isnan(swept.values["cycle"][1])
    assert swept.feasible.tolist() == [True, False]


@pytest.mark.parametrize(
    "text", ["baud=1", "line.baud", "line.baud=fast", "cameras=0", "cameras=5..2", "converter.packing=1..5 ms/1"]
)
def test_what_cannot_be_varied_is_the_user_s_error(text: str) -> None:
    with pytest.raises(UserError):
        parse_axis(text)


def test_ranges_and_lists_are_read() -> None:
    assert parse_axis("cameras=1..3,8").values == ("1", "2", "3", "8")
    assert parse_axis("converter.packing=0..50ms/11").numbers == pytest.approx(np.linspace(0, 0.05, 11))
    assert parse_axis("camera.turnaround=2..20 ms").numbers == (0.011,)


# -- simulated -----------------------------------------------------------------------------------------------


class Here(Executor):
    """Works at once; Ctrl-C comes after `stop_after` tasks."""

    def __init__(self, stop_after: int = 10**9) -> None:
        self.left = stop_after

    def submit(self, work: Any, /, *given: Any, **named: Any) -> Future[Any]:
        if not self.left:
            raise KeyboardInterrupt
        self.left -= 1
        future: Future[Any] = Future()
        future.set_result(work(*given, **named))
        return future


SMALL = [parse_axis("line.baud=19200,115200"), parse_axis("cameras=1,2")]


def _simulated(executor: Executor, workers: int, journal: Path | None = None) -> Sweep:
    return simulated_sweep(
        box(moves="2 /s"), SMALL, executor, workers=workers, seeds=2, length=3 * 10**9, journal=journal
    )


def _same(one: Sweep, other: Sweep) -> bool:
    return list(one.rows()) == list(other.rows())


def test_a_sweep_is_the_same_whoever_works_on_it() -> None:
    here = _simulated(Here(), 1)
    with processes(2) as pool:
        assert _same(_simulated(pool, 2), here)
    distributed = pytest.importorskip("distributed")
    local = distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None)
    with local, cluster(local.scheduler_address) as executor:
        assert _same(_simulated(executor, 2), here)


def test_a_sweep_goes_on_where_it_was_ended(tmp_path: Path) -> None:
    journal = tmp_path / "out.csv.journal"
    with pytest.raises(KeyboardInterrupt):
        _simulated(Here(stop_after=3), 1, journal)
    done = len(journal.read_text().splitlines()) - 1
    with journal.open("a") as file:
        file.write('[3, 1, {"half a li')
    again = Here()
    assert _same(_simulated(again, 1, journal), _simulated(Here(), 1))
    assert 10**9 - again.left == 8 - done


class Dying(Here):
    """Its worker dies of the task, as one that is out of memory."""

    def __init__(self, of: Exception) -> None:
        super().__init__()
        self._of = of

    def submit(self, *_: Any, **__: Any) -> Future[Any]:
        future: Future[Any] = Future()
        future.set_exception(self._of)
        return future


@pytest.mark.parametrize("name", ["CancelledError", "BrokenProcessPool", "KilledWorker"])
def test_a_sweep_whose_worker_dies_says_so(name: str) -> None:
    """Of a cluster that went away, of a process of this machine, of a dask worker."""
    distributed = pytest.importorskip("distributed")
    of = {
        "CancelledError": CancelledError(),
        "BrokenProcessPool": BrokenProcessPool("it was terminated"),
        "KilledWorker": distributed.KilledWorker("task", SimpleNamespace(address="tcp://127.0.0.1:1"), 3),
    }[name]
    with pytest.raises(WorkerGone, match=f"a worker is gone.*{name}"):
        _simulated(Dying(of), 1)


def test_a_defect_in_a_task_is_not_taken_for_a_worker_that_died() -> None:
    with pytest.raises(ZeroDivisionError):
        _simulated(Dying(ZeroDivisionError()), 1)


def test_a_journal_of_another_sweep_is_refused(tmp_path: Path) -> None:
    journal = tmp_path / "out.csv.journal"
    _simulated(Here(), 1, journal)
    with pytest.raises(UserError, match="another sweep"):
        simulated_sweep(box(), SMALL, Here(), workers=1, seeds=1, length=10**9, journal=journal)


def test_a_simulated_point_is_near_the_computed_one() -> None:
    """A regression: both sides are our own."""
    axes = [parse_axis("converter.packing=2 ms,20 ms")]
    computed = compute(box(), axes).lines[0]
    measured = simulated_sweep(box(), axes, Here(), workers=1, seeds=3, length=20 * 10**9).lines[0]
    for name in ("cycle", "exchange", "poll_rate", "occupancy"):
        assert measured.values[name] == pytest.approx(computed.values[name], rel=0.01)
        assert (measured.half[name] > 0).all()


def test_a_task_takes_the_files_beside_the_plan_along(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A worker has no such folder, and another folder to work in."""
    beside, elsewhere = tmp_path / "show", tmp_path / "worker"
    beside.mkdir()
    elsewhere.mkdir()
    (beside / "own.yaml").write_text(starter("own"))
    text = box(controls="[iris]").source.replace("protocol: modbus-rtu", "protocol: ./own.yaml")
    (beside / "plan.yaml").write_text(text)
    plan = read(beside / "plan.yaml")
    shutil.rmtree(beside)
    monkeypatch.chdir(elsewhere)
    swept = simulated_sweep(plan, SMALL, Here(), workers=1, seeds=1, length=10**9)
    assert (swept.lines[0].values["cycle"] > 0).all()


# -- the command ---------------------------------------------------------------------------------------------


def test_the_command_writes_points_and_a_map_with_the_feasible_region(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("matplotlib")
    out, heat = tmp_path / "out.csv", tmp_path / "map.svg"
    for _ in range(2):
        before = heat.read_bytes() if heat.exists() else None
        command.command(
            PLAN, ["line.baud=9600,38400", "cameras=1..4"], line="boulder line", need="10Hz", out=str(out),
            heat=str(heat),
        )  # fmt: skip
    assert heat.read_bytes() == before  # the same bytes each time
    assert b"#d55e00" in heat.read_bytes()  # the outline
    rows = list(csv.DictReader(out.open()))
    assert [(row["line.baud"], row["cameras"]) for row in rows[:5]] == [*(("9600", n) for n in "1234"), ("38400", "1")]
    assert {row["feasible"] for row in rows} == {"True", "False"}
    assert "camera_rate" in capsys.readouterr().out


@pytest.mark.parametrize(
    "wrong", [{"out": "no/out.csv"}, {"out": "no/out.parquet"}, {"heat": "no/map.svg"}, {"heat": "one axis.svg"}]
)
def test_what_could_not_be_written_is_said_before_anything_is_worked_out(
    wrong: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The refusal comes before a sweep of hours, not after it, and blames the request; a map of one axis likewise."""
    pytest.importorskip("matplotlib")
    pytest.importorskip("pyarrow")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("busim.experiments.sweep.compute", lambda *_, **__: pytest.fail("worked out"))
    with pytest.raises(UserError, match=r"cannot be written|two axes"):
        command.command(PLAN, ["cameras=1..2"], **wrong)


def test_parquet_has_what_csv_has(tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    out = tmp_path / "out.parquet"
    command.command(PLAN, ["cameras=1..4"], line="rope line", out=str(out))
    swept = compute(read(PLAN), [parse_axis("cameras=1..4")], line="rope line")
    rows = [
        {name.removesuffix("_per_s").removesuffix("_s"): value for name, value in row.items()}
        for row in parquet.read_table(out).to_pylist()
    ]
    assert [{**row, "cameras": str(row["cameras"])} for row in rows] == list(swept.rows())
    assert [swept.row(line, number) for line in swept.lines for number in range(4)] == list(swept.rows())


@pytest.fixture
def bare(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without any extra."""
    for name in ("matplotlib", "matplotlib.figure", "pyarrow", "distributed"):
        monkeypatch.setitem(sys.modules, name, None)


@pytest.mark.usefixtures("bare")
@pytest.mark.parametrize(
    ("given_options", "extra"),
    [
        ({"heat": "map.svg"}, "plots"),
        ({"out": "out.parquet"}, "parquet"),
        ({"simulate": True, "engine": "dask", "scheduler": "tcp://127.0.0.1:1"}, "dask"),
    ],
)
def test_a_missing_extra_says_which_and_breaks_nothing_else(
    given_options: dict[str, Any], extra: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    axes = ["cameras=1..2", "line.baud=9600,19200"]
    with pytest.raises(UserError) as caught:
        command.command(PLAN, axes, **given_options)
    assert f"busim[{extra}]" in (caught.value.mend or "")
    command.command(PLAN, axes, out="out.csv")
    assert Path("out.csv").exists()


def test_a_task_is_texts_and_numbers_alone() -> None:
    from busim.experiments.sweep import Task

    task = Task(box().source, (), ("cameras",), ("2",), None, 1, 10**9)
    assert simulate(task) == simulate(Task(*task))
    assert isinstance(AXES[0], Axis)


# -- what comes out ------------------------------------------------------------------------------------------


def test_parquet_keeps_types_and_names_units(tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet", exc_type=ImportError)
    out = tmp_path / "points.parquet"
    axes = ["cameras=1..3", "line.baud=9600,38400", "camera.turnaround=2..20ms"]
    command.command(PLAN, vary=axes, line="boulder line", out=str(out))
    table = parquet.read_table(out)
    types = {field.name: str(field.type) for field in table.schema}
    assert types["cameras"] == types["line_baud"] == "int64"
    assert types["camera_turnaround_low_s"] == types["cycle_s"] == types["camera_rate_per_s"] == "double"
    assert types["feasible"] == "bool"
    assert table["cameras"].to_pylist() == [1, 1, 2, 2, 3, 3]
    assert table["camera_turnaround_high_s"].to_pylist() == [0.02] * 6
    (swept,) = compute(read(PLAN), [parse_axis(text) for text in axes], line="boulder line").lines
    assert table["cycle_s"].to_pylist() == swept.values["cycle"].tolist()


def test_the_rate_of_a_camera_falls_with_every_camera_and_is_one_over_its_cycle() -> None:
    (swept,) = compute(box(), [parse_axis("cameras=1..8")]).lines
    rates = swept.values["camera_rate"]
    assert (np.diff(rates) < 0).all()
    assert rates == pytest.approx(1 / swept.values["cycle"])


def test_a_map_shows_every_line_with_the_numbers_in_its_cells() -> None:
    axes = [parse_axis("cameras=1..3"), parse_axis("line.baud=9600,38400")]
    swept = compute(read(PLAN), axes, need=5)
    drawn = to_svg(sweep_map(swept)).decode()
    for line in swept.lines:
        assert f"{line.line}: polls of one camera" in drawn
        for value in line.values["camera_rate"]:
            assert f"{value:.3g}<" in drawn
    alone = to_svg(sweep_map(swept, line="rope line")).decode()
    assert "rope line" in alone
    assert "boulder line" not in alone

"""`busim compare`: the first difference of two traces, with time, line and context, and the figures of both."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from serving import busim_here, wall

from busim.foundation.errors import UserError
from busim.plan import read_text
from busim.recording.trace import BURST, TABLES, open_trace
from busim.runtime.session import Run, compare, recorded_report

SECOND = 10**9


def made(path: Path, *, seed: int = 1, plan: str | None = None, length: int = SECOND) -> Path:
    run = Run(read_text(plan or wall()), seed, trace=path, overwrite=True, epoch=0)
    run.advance(length)
    run.finish()
    return path


def changed(path: Path, statement: str) -> Path:
    with sqlite3.connect(path) as database:
        database.execute(statement)
    database.close()
    return path


def test_two_runs_of_one_seed_are_equal_and_all_figures_are_the_same(tmp_path: Path) -> None:
    one, other = made(tmp_path / "1"), made(tmp_path / "2")
    found = compare(one, other)
    assert found.equal
    assert found.parting is None
    assert found.notes == ()
    assert all(pair.same for pair in found.figures)
    done = busim_here("compare", str(one), str(other))
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("equal")
    assert "≠" not in done.stdout


def test_the_first_difference_is_the_first_in_time_with_line_columns_and_context(tmp_path: Path) -> None:
    one, other = made(tmp_path / "1"), made(tmp_path / "2")
    at, end = 500_000_000, 0
    with open_trace(one) as trace:
        burst = next(record for record in trace.records(BURST) if record[3] >= at)
        at, end = burst[3], burst[4]
    changed(other, f"UPDATE burst SET data = x'00', \"end\" = {end + 1} WHERE start = {at}")
    changed(other, "UPDATE exchange SET outcome = 'time-out' WHERE n = (SELECT max(n) FROM exchange)")
    parting = compare(one, other).parting
    assert parting is not None
    assert (parting.at, parting.line, parting.kind, parting.only_in) == (at, "wall line", "burst", 0)
    assert [name for name, _, _ in parting.columns] == ["end", "data"]
    assert parting.columns[0][1:] == (end, end + 1)
    assert len(parting.before) == 3
    assert all(float(text.split()[0]) <= at / 1e9 for text in parting.before)
    done = busim_here("compare", str(one), str(other))
    assert done.returncode == 1
    assert done.stdout.startswith(f"different, first at {at / 1e9:.9f} s on wall line, in a record of kind burst:")
    assert "data: " in done.stdout
    assert "00 in the second" in done.stdout


@pytest.mark.parametrize(("where", "only"), [("one", 2), ("other", 1)])
def test_a_record_that_only_one_has_is_told_as_that(tmp_path: Path, where: str, only: int) -> None:
    one, other = made(tmp_path / "one"), made(tmp_path / "other")
    changed(tmp_path / where, "DELETE FROM exchange WHERE n = 5")
    parting = compare(one, other).parting
    assert parting is not None
    assert parting.only_in == only
    assert parting.kind == "exchange"


def test_a_trace_that_ends_earlier_differs_where_it_ends(tmp_path: Path) -> None:
    whole = made(tmp_path / "1")
    with open_trace(whole) as trace:  # where no burst is under way, or the shorter run would have recorded its half
        end = next(record[4] for record in trace.records(BURST) if record[4] > SECOND // 2)
    found = compare(whole, made(tmp_path / "2", length=end + 100_000))
    assert not found.equal
    assert found.parting is not None
    assert found.parting.only_in == 1
    assert found.parting.other == ()
    assert "it ends here" in busim_here("compare", str(tmp_path / "1"), str(tmp_path / "2")).stdout


def test_with_one_camera_more_records_are_compared_by_names_and_the_camera_is_told(tmp_path: Path) -> None:
    more = wall()
    for old, new in (
        ("      - {camera: wall mats", "      - {camera: spare, after: 0 m}\n      - {camera: wall mats"),
        (
            "  - {name: wall mats, bus_id: 3",
            "  - {name: spare, bus_id: 99, present: false}\n  - {name: wall mats, bus_id: 3",
        ),
        ("through: [wall box]\n", "through: [wall box]\n    cameras: [wall low, wall high, wall mats]\n"),
    ):
        more = more.replace(old, new)
    found = compare(made(tmp_path / "1"), made(tmp_path / "2", plan=more))
    assert found.parting is None
    assert not found.equal
    assert "camera spare is only in the second" in found.notes
    assert {pair.one for pair in found.figures if pair.of == "spare"} == {None}


def test_what_differs_in_seed_and_plan_is_noted_and_figures_are_marked(tmp_path: Path) -> None:
    found = compare(made(tmp_path / "1"), made(tmp_path / "2", seed=2))
    assert not found.equal
    assert "seed differs: 1 and 2" in found.notes
    assert any(not pair.same for pair in found.figures)
    done = busim_here("compare", str(tmp_path / "1"), str(tmp_path / "2"), "--json")
    assert done.returncode == 1
    told = json.loads(done.stdout)
    assert told["schema"] == 1
    assert told["equal"] is False
    assert told["first_difference"]["line"] == "wall line"
    assert {row["same"] for row in told["figures"]} == {True, False}


def test_records_of_another_order_are_not_equal(tmp_path: Path) -> None:
    one, other = made(tmp_path / "1"), made(tmp_path / "2")
    changed(other, "UPDATE exchange SET n = -n WHERE n IN (3, 4)")
    changed(other, "UPDATE exchange SET n = 7 + n WHERE n < 0")
    found = compare(one, other)
    assert not found.equal
    assert found.parting is None
    assert found.notes == ("the records are the same, but they were written in another order",)


def test_figures_of_a_file_are_those_of_the_run(tmp_path: Path) -> None:
    run = Run(read_text(wall(laptop=True, every="13 ms")), 3, trace=tmp_path / "t")
    run.advance(2 * SECOND)
    run.finish()
    with open_trace(tmp_path / "t") as trace:
        again = recorded_report(trace)
    assert again.as_json() == run.report().as_json()


@pytest.mark.parametrize("content", [b"", b"no trace", None])
def test_what_cannot_be_read_ends_with_exit_code_2(tmp_path: Path, content: bytes | None) -> None:
    good, bad = made(tmp_path / "good"), tmp_path / "bad"
    if content is not None:
        bad.write_bytes(content)
    done = busim_here("compare", str(good), str(bad))
    assert done.returncode == 2
    assert "Traceback" not in done.stderr


@settings(max_examples=8, deadline=None)
@given(st.data())
def test_any_one_record_taken_out_is_found(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    folder = tmp_path_factory.mktemp("one")
    one, other = made(folder / "1", length=SECOND // 10), made(folder / "2", length=SECOND // 10)
    with open_trace(one) as trace:
        counts = {TABLES[kind][0]: sum(1 for _ in trace.records(kind)) for kind in TABLES}
    table = data.draw(st.sampled_from([name for name, count in counts.items() if count]))
    number = data.draw(st.integers(1, counts[table]))
    changed(other, f"DELETE FROM {table} WHERE n = {number}")
    parting = compare(one, other).parting
    assert parting is not None
    assert not compare(one, other).equal


def test_a_trace_whose_plan_cannot_be_read_is_the_user_s_error(tmp_path: Path) -> None:
    one, other = made(tmp_path / "1"), made(tmp_path / "2")
    changed(other, "UPDATE head SET value = 'busim: 1' WHERE key = 'plan_text'")
    with pytest.raises(UserError):
        compare(one, other)

"""`expect:` in a plan: bounds in the figure's unit, checked against a run, and reported with reason and place."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from serving import Client, Served, busim_here, read_frame, value_frame, wall

from busim.foundation.diagnostics import Findings
from busim.foundation.errors import UserError
from busim.plan import read_text
from busim.recording.expectations import LOOK, expectations, wrong
from busim.recording.figures import QUANTITIES
from busim.runtime.session import Run

LASTS = 2 * 10**9


def expecting(*entries: str, plan: str | None = None) -> str:
    return (plan or wall()) + "expect:\n" + "".join(f"  - {entry}\n" for entry in entries)


def verdicts(*entries: str, length: int = LASTS) -> list[str]:
    run = Run(read_text(expecting(*entries)), 1)
    run.advance(length)
    run.finish()
    return [one.verdict for one in run.report().verdicts]


def findings(*entries: str) -> list[tuple[str, str | None]]:
    return [(one.code, one.field) for one in wrong(read_text(expecting(*entries)))]


@pytest.mark.parametrize(
    ("entry", "verdict"),
    [
        ("{figure: poll_rate, of: wall low, at_least: 20 Hz}", "met"),
        ("{figure: poll rate, of: wall low, at_least: 20 /s, at_most: 40 /s}", "met"),
        ("{figure: poll_rate, of: wall low, at_least: 50 Hz}", "missed"),
        ("{figure: age_worst, of: wall high, at_most: 1 s}", "met"),
        ("{figure: age_worst, of: wall high, at_most: 1 ms}", "missed"),
        ("{figure: load, of: wall line, at_most: 100 %}", "met"),
        ("{figure: load, of: [wall line], at_least: 0.99}", "missed"),
        ("{figure: time_outs, at_most: 0}", "met"),
        ("{figure: exchanges, at_least: 100000}", "missed"),
        ("{figure: move_p95, at_most: 1 s}", "inconclusive"),
    ],
)
def test_a_figure_is_held_against_its_bound_in_its_own_unit(entry: str, verdict: str) -> None:
    assert verdicts(entry) == [verdict]


def test_every_camera_and_every_line_are_written_out() -> None:
    assert verdicts("{figure: poll_rate, of: every camera, at_least: 1 Hz}") == ["met"] * 3
    assert verdicts("{figure: poll_rate, of: every line, at_least: 1 Hz}") == ["met"]


def test_without_of_a_figure_that_only_cameras_have_is_every_camera_s() -> None:
    names = [one.name for one in expectations(read_text(expecting("{figure: age_mean, at_most: 1 s}")))]
    assert names == ["wall low", "wall high", "wall mats"]
    assert [one.kind for one in expectations(read_text(expecting("{figure: load, at_most: 1}")))] == ["line"]


@pytest.mark.parametrize(
    ("entry", "found"),
    [
        ("{figure: pole_rate, at_least: 5 Hz}", ("no-such-figure", "expect[0].figure")),
        ("{figure: poll_rate, of: wall lo, at_least: 5 Hz}", ("no-such-scope", "expect[0].of[0]")),
        ("{figure: poll_rate, of: [wall low, wall box], at_least: 5 Hz}", ("no-such-scope", "expect[0].of[1]")),
        ("{figure: age_mean, of: wall line, at_most: 1 s}", ("not-its-figure", "expect[0].of[0]")),
        ("{figure: load, of: every camera, at_most: 1}", ("not-its-figure", "expect[0].of[0]")),
        ("{figure: poll_rate, at_least: 5}", ("bad-bound", "expect[0].at_least")),
        ("{figure: poll_rate, at_least: 5 ms}", ("bad-bound", "expect[0].at_least")),
        ("{figure: age_mean, at_most: 5 Hz}", ("bad-bound", "expect[0].at_most")),
        ("{figure: load, at_most: 120 %}", ("bad-bound", "expect[0].at_most")),
        ("{figure: time_outs, at_most: -1}", ("bad-bound", "expect[0].at_most")),
        ("{figure: load, at_least: 0.9, at_most: 20 %}", ("bad-bound", "expect[0].at_least")),
    ],
)
def test_what_is_wrong_is_told_at_its_place(entry: str, found: tuple[str, str]) -> None:
    assert findings(entry) == [found]
    (finding,) = wrong(read_text(expecting(entry)))
    assert finding.line == wall().count("\n") + 2
    assert finding.mend


def test_a_line_and_a_camera_of_one_name_are_ambiguous_only_for_a_figure_that_both_have() -> None:
    same = wall().replace("wall low", "wall line")
    plan = expecting("{figure: exchanges, of: wall line, at_least: 1}", plan=same)
    assert [one.code for one in wrong(read_text(plan))] == ["ambiguous"]
    plan = expecting("{figure: age_mean, of: wall line, at_most: 1 s}", plan=same)
    assert [one.kind for one in expectations(read_text(plan))] == ["camera"]


def test_an_entry_without_a_bound_is_refused_by_the_reader() -> None:
    with pytest.raises(Findings, match="this figure has no bound"):
        read_text(expecting("{figure: load}"))


def test_mistakes_in_expectations_are_told_together_with_those_in_the_rest() -> None:
    text = expecting("{figure: pole_rate, at_least: 5 Hz}").replace("values: [iris, gain]", "values: [irs]")
    with pytest.raises(Findings) as caught:
        Run(read_text(text), 1)
    assert [one.code for one in caught.value.findings] == ["polled-value-nobody-has", "no-such-figure"]


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=30), st.text(max_size=30), st.text(max_size=12))
def test_whatever_is_written_there_is_read_or_is_the_user_s_error(figure: str, of: str, bound: str) -> None:
    entry = json.dumps({"figure": figure, "of": of, "at_most": bound})
    with contextlib.suppress(UserError):
        plan = read_text(expecting(entry))
        wrong(plan)
        expectations(plan)


def test_every_figure_says_what_to_look_at() -> None:
    assert set(LOOK) == set(QUANTITIES)


# -- on the command line ------------------------------------------------------------------------------------


def test_a_run_that_misses_ends_with_exit_code_1_and_says_expected_measured_count_and_place(tmp_path: Path) -> None:
    plan, trace = tmp_path / "plan.yaml", tmp_path / "run.busim"
    plan.write_text(expecting("{figure: poll_rate, of: wall low, at_least: 50 Hz}", "{figure: time_outs, at_most: 0}"))
    done = busim_here("run", str(plan), "--for", "2s", "--trace", str(trace))
    assert done.returncode == 1
    said = " ".join(done.stdout.split())
    line = wall().count("\n") + 2
    assert f"plan.yaml:{line}:5: missed: poll rate of wall low is " in said
    assert "/s (measured, count 6" in said  # one poll in 30 ms for two seconds
    assert "expected at least 50 Hz. Look at time-outs" in said
    assert "Expected by the plan: 1 of 2 met." in said
    again = busim_here("replay", str(trace))
    assert again.returncode == 1
    assert again.stdout.rstrip().endswith("identical")
    assert "missed: poll rate of wall low" in " ".join(again.stdout.split())


def test_a_run_that_meets_everything_ends_well_and_what_does_not_apply_is_said(tmp_path: Path) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text(expecting("{figure: poll_rate, at_least: 1 Hz}", "{figure: move_max, at_most: 1 s}"))
    done = busim_here("run", str(plan), "--for", "1s")
    assert done.returncode == 0
    said = " ".join(done.stdout.split())
    assert "inconclusive: no operator moved anything: move max of wall line; expected at most 1 s" in said
    told = json.loads(busim_here("run", str(plan), "--for", "1s", "--json").stdout)["expectations"]
    assert [one["verdict"] for one in told] == ["met", "inconclusive"]
    assert told[0]["measured"] > 1
    assert told[0]["at_least"] == 1
    assert told[1]["not_applicable"] == "no operator moved anything"


def test_a_served_plan_is_judged_at_its_end(tmp_path: Path) -> None:
    with Served(tmp_path, expecting("{figure: exchanges, of: wall low, at_least: 2}")) as served:
        with Client(served.address()) as client:
            client.insist(read_frame(1, 100), value_frame(1, 1))
        served.process.terminate()
        out, _ = served.process.communicate(timeout=20)
    assert b"missed: exchanges of wall low is 1 (measured, count 1), expected at least 2" in out
    assert served.process.returncode == 1

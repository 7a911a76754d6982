"""`busim run` on the command line: times, marks, Ctrl-C, and options that other commands share."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from budget_plans import box
from places import SCENARIOS
from typer.testing import CliRunner

from busim.cli.app import app
from busim.foundation.errors import UserError
from busim.recording.trace import MARK, open_trace

PLAN = str(SCENARIOS / "two-masters" / "plan.yaml")


def _refused(*options: str) -> UserError:
    done = CliRunner().invoke(app, ["run", PLAN, *options])
    assert isinstance(done.exception, UserError), done.output
    return done.exception


@pytest.mark.parametrize("length", ["0", "0s", "60", "soon", "-1s", ""])
def test_a_length_that_is_none_is_told_with_its_option_and_an_example(length: str) -> None:
    error = _refused("--for", length)
    assert error.field == "--for"
    assert "--for 60s" in (error.mend or "")


@pytest.mark.parametrize("command", [["budget", PLAN], ["sweep", PLAN, "--vary", "cameras=1..2"]])
@pytest.mark.parametrize("need", ["0", "10", "often", "-1Hz", "nan", "1e9Hz"])
def test_a_need_that_is_none_is_told_with_its_option_and_an_example(command: list[str], need: str) -> None:
    done = CliRunner().invoke(app, [*command, "--need", need])
    assert isinstance(done.exception, UserError), done.output
    assert done.exception.field == "--need"
    assert "--need 10Hz" in (done.exception.mend or "")


@pytest.mark.parametrize(("baud", "arbitrary"), [("19200 Bd", True), ("9600 Bd", True), ("57600 Bd", False)])
def test_who_runs_a_plan_with_an_exact_even_ratio_of_bauds_reads_that_the_outcome_is_arbitrary(
    tmp_path: Path, baud: str, arbitrary: bool
) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text(box().source.replace("serial: 2,", f"serial: 2, driver: {{baud: {baud}}},"))
    done = CliRunner().invoke(app, ["run", str(plan), "--for", "1s"])
    assert ("one arbitrary outcome of many" in " ".join(done.output.split())) is arbitrary


@pytest.mark.parametrize("mark", ["doors open", "12s", "12 doors open", ""])
def test_a_mark_that_is_none_is_told_with_its_option_and_an_example(mark: str) -> None:
    error = _refused("--mark", mark)
    assert error.field == "--mark"
    assert "'12s doors open'" in (error.mend or "")


def test_a_mark_behind_the_end_of_the_run_is_refused() -> None:
    error = _refused("--for", "10s", "--mark", "4s fine", "--mark", "10001ms too late")
    assert (error.field, error.found) == ("--mark", "'10001ms too late'")
    assert "10 s" in (error.expected or "")
    assert "--for" in (error.mend or "")


def test_marks_up_to_the_very_end_are_set(tmp_path: Path) -> None:
    trace = tmp_path / "run.busim"
    options = ["--for", "100ms", "--mark", "100ms end", "--mark", "0 begin", "--trace", str(trace)]
    assert CliRunner().invoke(app, ["run", PLAN, *options]).exit_code == 0
    with open_trace(trace) as opened:
        assert [record[1:] for record in opened.records(MARK)] == [(0, "begin"), (100_000_000, "end")]


def test_ctrl_c_ends_a_run_with_what_there_is(tmp_path: Path) -> None:
    """A run of hours; the trace is complete as far as it goes, and its end is the length of the figures."""
    trace = tmp_path / "run.busim"
    command = [sys.executable, "-m", "busim", "run", PLAN, "--for", "100h", "--json", "--trace", str(trace)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        try:
            _wait_for_exchanges(trace, running)
            running.send_signal(signal.SIGINT)
            said, complaint = running.communicate(timeout=30)
        finally:
            running.kill()
    assert running.returncode == 130, complaint
    assert "Traceback" not in complaint
    report = json.loads(said)
    assert 0 < report["length_s"] < 360_000
    assert f"Ended by Ctrl-C after {report['length_s']:g} s" in complaint
    with open_trace(trace) as opened:
        assert opened.head["complete"] == 1
        assert opened.head["ended_at"] == pytest.approx(report["length_s"] * 1e9)
    played = subprocess.run(
        [sys.executable, "-m", "busim", "replay", str(trace)], capture_output=True, text=True, timeout=60, check=False
    )
    assert played.returncode == 0, played.stdout + played.stderr


def _wait_for_exchanges(trace: Path, running: subprocess.Popen[str]) -> None:
    """Wait until the trace has records, so the run is well under way."""
    for _ in range(300):
        with pytest.raises(subprocess.TimeoutExpired):  # it must not end by itself
            running.wait(0.05)
        if trace.exists() and trace.stat().st_size:
            try:
                with open_trace(trace) as opened:
                    if next(opened.records(), None):
                        return
            except UserError:
                continue  # its tables are being made
    raise AssertionError("nothing was recorded")


def test_a_session_of_no_length_is_refused_as_a_run_is() -> None:
    done = CliRunner().invoke(app, ["serve", PLAN, "--for", "0"])
    assert isinstance(done.exception, UserError)
    assert done.exception.field == "--for"

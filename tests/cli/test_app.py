"""The end of a command: one clear message that says whose fault an error is, and an exit code."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator

import pytest
from screens import shown, too_wide
from typer.testing import CliRunner

from busim.cli import app, commands
from busim.foundation.errors import Defect, UserError
from busim.foundation.version import VERSION
from busim.simulator.kernel import core


def ended(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> int:
    def broken() -> None:
        raise error

    monkeypatch.setattr(app, "app", broken)
    monkeypatch.delenv("BUSIM_TRACEBACK", raising=False)
    with pytest.raises(SystemExit) as end:
        app.main()
    assert isinstance(end.value.code, int)
    return end.value.code


def test_what_the_user_can_mend_ends_with_2(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert ended(monkeypatch, UserError("no such port", found="99", mend="choose another")) == 2
    assert capsys.readouterr().err == "no such port; found 99. To mend: choose another\n"


@pytest.mark.parametrize("error", [Defect("a gap in the books"), ZeroDivisionError("division by zero")])
def test_a_fault_of_busim_is_one_line_that_says_so_and_ends_with_3(
    error: Exception, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert ended(monkeypatch, error) == 3
    said = capsys.readouterr().err
    assert said.startswith("busim itself is at fault: ")
    assert str(error) in said
    assert "Traceback" not in said


def test_the_traceback_of_a_fault_can_be_had(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken() -> None:
        raise Defect("a gap in the books")

    monkeypatch.setattr(app, "app", broken)
    monkeypatch.setenv("BUSIM_TRACEBACK", "1")
    with pytest.raises(Defect):
        app.main()


def test_ctrl_c_ends_with_130(monkeypatch: pytest.MonkeyPatch) -> None:
    assert ended(monkeypatch, KeyboardInterrupt()) == 130
    assert sys.exc_info() == (None, None, None)


def _every_help() -> Iterator[tuple[str, ...]]:
    yield ()
    yield ("plan",)
    for name, _ in commands.named():
        yield tuple(name.split())


@pytest.mark.parametrize("words", list(_every_help()), ids=" ".join)
def test_help_fits_eighty_columns_and_cuts_no_line_short(words: tuple[str, ...]) -> None:
    said = shown(*words, "--help", columns=80).output
    assert too_wide(said, 80) == []
    assert [line for line in said.splitlines() if line.rstrip().endswith("...") and "Usage:" not in line] == []


def test_a_mistake_is_told_within_the_width_and_its_place_stands_first() -> None:
    command = [sys.executable, "-m", "busim", "run", "no/such/plan.yaml"]
    environment = {name: value for name, value in os.environ.items() if name != "COLUMNS"}
    done = subprocess.run(command, capture_output=True, text=True, env=environment, check=False, timeout=60)
    assert done.returncode == 2
    assert done.stderr.startswith("no/such/plan.yaml: ")
    assert too_wide(done.stderr, 80) == []


@pytest.mark.parametrize("jobs", ["0", "-1", "1025", "nan"])
def test_a_sweep_is_refused_for_an_impossible_number_of_jobs(jobs: str) -> None:
    done = CliRunner().invoke(app.app, ["sweep", "plan.yaml", "--vary", "cameras=1..2", "--jobs", jobs])
    assert done.exit_code == 2
    assert "--jobs" in done.output


def test_the_version_is_printed_without_a_command() -> None:
    done = CliRunner().invoke(app.app, ["--version"])
    assert (done.exit_code, done.output) == (0, f"busim {VERSION} ({core()} core)\n")

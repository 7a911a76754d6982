"""`busim export` on the command line: its file, its message, and the commands in that message."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from places import SCENARIOS
from typer.testing import CliRunner

from busim.cli.app import app
from busim.foundation.errors import UserError
from busim.plan import read
from busim.recording.trace import BURST, open_trace
from busim.runtime.session import Run

HALL = SCENARIOS / "climbing-hall" / "plan.yaml"


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A third of a second of the climbing hall."""
    trace = tmp_path_factory.mktemp("recorded") / "the hall.busim"
    run = Run(read(HALL), 1, trace=trace)
    run.advance(333_000_000)
    run.finish()
    return trace


@pytest.fixture
def hall(recorded: Path, tmp_path: Path) -> Path:
    """A copy in a separate folder."""
    trace = tmp_path / recorded.name
    trace.write_bytes(recorded.read_bytes())
    return trace


def _export(trace: Path, *options: str) -> str:
    """The command that reads the file, as printed."""
    done = CliRunner().invoke(app, ["export", str(trace), *options], catch_exceptions=False)
    assert done.exit_code == 0
    _, _, command = done.output.partition("example:\n")
    return command


def _refused(trace: Path, *options: str) -> UserError:
    done = CliRunner().invoke(app, ["export", str(trace), *options])
    assert isinstance(done.exception, UserError), done.output
    return done.exception


@pytest.mark.parametrize("format", ["vcd", "pcapng"])
def test_a_file_is_written_beside_the_trace_unless_another_is_named(hall: Path, tmp_path: Path, format: str) -> None:
    beside = tmp_path / f"the hall.{format}"
    assert f"'{beside}'" in _export(hall, "--to", format)
    other = tmp_path / "other"
    assert str(other) in _export(hall, "--to", format, "-o", str(other))
    assert beside.read_bytes() == other.read_bytes() != b""


def test_a_file_that_is_there_is_replaced_only_when_told_to(hall: Path, tmp_path: Path) -> None:
    target = tmp_path / "the hall.vcd"
    target.write_text("kept")
    assert "there already" in _refused(hall, "--to", "vcd").what
    assert target.read_text() == "kept"
    _export(hall, "--to", "vcd", "--overwrite")
    assert target.read_text() != "kept"


def test_a_trace_is_never_overwritten_by_its_own_export(hall: Path, tmp_path: Path) -> None:
    before = hall.read_bytes()
    assert "itself" in _refused(hall, "--to", "vcd", "-o", str(hall), "--overwrite").what
    named_so = hall.rename(tmp_path / "named.vcd")
    assert "itself" in _refused(named_so, "--to", "vcd", "--overwrite").what
    assert named_so.read_bytes() == before


def test_a_line_or_format_that_is_not_there_is_told_with_those_that_are(hall: Path, tmp_path: Path) -> None:
    error = _refused(hall, "--to", "vcd", "--line", "sped line")
    assert (error.found, error.expected) == ("'sped line'", "boulder line, rope line, speed line")
    assert not (tmp_path / "the hall.vcd").exists()
    error = _refused(hall, "--to", "xls")
    assert (error.field, error.found, error.expected) == ("--to", "'xls'", "vcd or pcapng or csv or parquet")


@pytest.mark.needs("sigrok-cli")
@pytest.mark.parametrize("line", ["boulder line", "speed line"])
def test_the_command_that_is_told_reads_every_byte_of_the_line(hall: Path, line: str) -> None:
    command = _export(hall, "--to", "vcd", "--line", line)
    said = subprocess.run(["sh", "-c", command], check=True, capture_output=True, text=True).stdout
    with open_trace(hall) as trace:
        number = next(number for number, name in trace.names.items() if name.name == line)
        ended = trace.head["ended_at"]
        assert isinstance(ended, int)
        whole = [record[6] for record in trace.records(BURST, line=number, by_time=True) if record[4] <= ended]
    read = bytes(int(row.rpartition(" ")[2], 16) for row in said.splitlines())
    assert read.startswith(b"".join(whole))
    assert whole


@pytest.mark.needs("tshark")
def test_the_command_that_is_told_dissects_the_frames(hall: Path) -> None:
    command = _export(hall, "--to", "pcapng")
    said = subprocess.run(["sh", "-c", command], check=True, capture_output=True, text=True).stdout
    with open_trace(hall) as trace:
        bursts = sum(1 for _ in trace.records(BURST))
    assert len(said.splitlines()) == bursts
    assert "Modbus RTU" in said

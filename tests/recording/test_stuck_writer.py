"""A trace writer that does not begin, or stops: reported after seconds, and the waiting caller is released."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from serving import Client, Served, read_frame, value_frame, wait_for, wall

from busim.foundation.errors import UserError
from busim.foundation.yaml_source import load
from busim.recording.trace import MARK, open_trace
from busim.runtime.session import Recorder, recorder


def writer_of(process: int) -> int:
    """The process that writes the trace of another one (proc(5))."""
    (child,) = Path(f"/proc/{process}/task/{process}/children").read_text().split()
    return int(child)


@pytest.mark.timeout(30)
def test_a_writer_that_does_not_begin_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recorder, "_READY", 0.5)
    monkeypatch.setattr(recorder, "_START", "import sys; sys.stdin.buffer.read()")
    with pytest.raises(UserError, match="does not begin"):
        Recorder(tmp_path / "t", {})


_STOPPED = """
import os, signal, sys
from busim.runtime.session import Recorder
from busim.recording.trace import MARK
recorder = Recorder(sys.argv[1], {})
recorder.append((MARK, 1, ""))
recorder.flush()
os.kill(recorder._process.pid, signal.SIGSTOP)
print("stopped", flush=True)
for n in range(10**6):
    recorder.append((MARK, n, "x" * 1000))
"""


@pytest.mark.timeout(60)
@pytest.mark.parametrize("times", [1, 2])
def test_ctrl_c_does_not_wait_for_a_writer_that_stopped(tmp_path: Path, times: int) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", _STOPPED, str(tmp_path / "t")], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"stopped\n"
        writer = writer_of(process.pid)
        blocked = f"/proc/{process.pid}/wchan"
        wait_for(
            lambda: (
                "poll" in Path(blocked).read_text() or Path(f"/proc/{process.pid}/stat").read_text().split()[2] == "S"
            )
        )
        for _ in range(times):
            process.send_signal(signal.SIGINT)
            wait_for(lambda: True)
        begun = time.monotonic()
        _, errors = process.communicate(timeout=30)
        assert time.monotonic() - begun < 20
    assert b"KeyboardInterrupt" in errors
    assert not Path(f"/proc/{writer}").exists()
    with open_trace(tmp_path / "t") as trace:
        assert trace.head["complete"] == 0


@pytest.mark.timeout(90)
def test_a_stopped_writer_is_said_while_clients_are_served_and_keeps_none_of_them(tmp_path: Path) -> None:
    ask, reply = read_frame(1, 100), value_frame(1, 1)
    with Served(tmp_path, wall()) as served:
        writer = writer_of(served.process.pid)
        os.kill(writer, signal.SIGSTOP)
        try:
            with Client(served.address()) as client:
                assert client.ask(ask, len(reply)) == reply
                wait_for(lambda: "has taken nothing for" in served.errors())
                assert client.ask(ask, len(reply)) == reply
                served.process.send_signal(signal.SIGINT)
                assert client.is_closed()
            assert served.process.poll() is None  # it still waits for the trace
        finally:
            os.kill(writer, signal.SIGCONT)
        served.end()
    with open_trace(served.trace) as trace:
        assert trace.head["complete"] == 1
        assert not list(trace.records(MARK))


@pytest.mark.timeout(60)
@pytest.mark.parametrize(
    ("backlog", "patience"),
    [pytest.param(2**40, 0.4, id="little is queued"), pytest.param(0, 0.2, id="much is queued")],
)
def test_a_live_run_ends_when_its_writer_takes_nothing_for_too_long(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, backlog: int, patience: float
) -> None:
    """The limits are shorter here; their real lengths are checked first."""
    assert (recorder._SAID, recorder._LIVE_PATIENCE, recorder._PATIENCE) == (5.0, 20.0, 60.0)
    monkeypatch.setattr(recorder, "_SAID", 0.2)
    monkeypatch.setattr(recorder, "_LIVE_PATIENCE", 0.4)
    monkeypatch.setattr(recorder, "_PATIENCE", 0.2)
    monkeypatch.setattr(recorder, "_BACKLOG", backlog)
    begun = time.monotonic()  # before the last that the writer takes
    live = Recorder(tmp_path / "t", {}, live=True)
    live.append((MARK, 1, ""))
    live.flush()
    said: list[float] = []
    live.stuck = said.append
    writer = live._process.pid
    os.kill(writer, signal.SIGSTOP)

    def record() -> None:
        for n in range(10**6):
            live.append((MARK, n, "x" * 1000))
            live.flush()

    with pytest.raises(UserError, match="takes nothing any more"):
        record()
    assert time.monotonic() - begun >= patience
    assert said
    assert not Path(f"/proc/{writer}").exists()
    with open_trace(tmp_path / "t") as trace:
        assert trace.head["complete"] == 0


@pytest.mark.timeout(10)
def test_a_pipe_is_no_plan_and_nobody_waits_for_it(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "plan.yaml")
    with pytest.raises(UserError, match="a pipe, not a file"):
        load(tmp_path / "plan.yaml")

"""`busim replay`: in another process, the identical trace; or the first difference."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from serving import Client, Served, busim, busim_here, read_frame, value_frame, wait_for, wall, write_frame

from busim.foundation.errors import UserError
from busim.plan import read_text
from busim.recording.trace import BURST, EXCHANGE, MARK, open_trace
from busim.runtime.session import Run, replay

MS = 1_000_000
BUS_ID, RED_GAIN = 100, 5


def rehearse(served: Served) -> None:
    """Several clients that send whole frames or byte by byte, vanish in the middle of a frame and come back."""
    address = served.address()
    with Client(address) as whole, Client(address) as slow:
        for value in range(5):
            whole.insist(write_frame(1, RED_GAIN, value), write_frame(1, RED_GAIN, value))
            for byte in read_frame(2, BUS_ID):
                slow.socket.sendall(bytes((byte,)))
            whole.socket.sendall(read_frame(1, BUS_ID) * 3)  # without a pause: the camera ignores it
            lost = Client(address)
            lost.socket.sendall(read_frame(3, BUS_ID)[:5])
            if value % 2:
                lost.vanish()
            else:
                lost.close()
            if served.process.stdin is not None:
                served.process.stdin.write(b"round %d\n" % value)
                served.process.stdin.flush()
    with Client(address) as back:
        back.insist(read_frame(3, BUS_ID), value_frame(3, 3))


@pytest.mark.parametrize("options", [(), ("--play", "controller"), ("--speed", "3", "--seed", "9")])
def test_a_live_session_replays_to_the_identical_trace_in_another_process(
    tmp_path: Path, options: tuple[str, ...]
) -> None:
    with Served(tmp_path, wall(laptop=True, every="31 ms", clients=6), *options, input=True) as served:
        rehearse(served)
        figures = served.interrupt()
    kept = tmp_path / "again.trace"
    done = busim("replay", str(served.trace), "--trace", str(kept))
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.rstrip().endswith("identical")
    with open_trace(served.trace) as old, open_trace(kept) as new:
        assert old.fingerprint() == new.fingerprint()
        assert old.head["epoch"] == new.head["epoch"]
        assert {record[4] for record in old.inputs()} >= {"open", "bytes", "close"}
        assert sum(1 for _ in old.records(MARK)) == 5
        kinds = {record[5] for record in old.records(EXCHANGE)}
        assert kinds >= {"poll", "foreign"}  # and probes, where a camera counted as offline after too many collisions
        assert any(record[7] for record in old.records(BURST))  # they met on the line
    assert _of_the_line(done.stdout) == _of_the_line(figures)


def _of_the_line(out: str) -> list[str]:
    return [line for line in out.splitlines() if line.startswith(("wall", "  exchanges"))]


def test_a_replay_of_the_replay_is_identical_too(tmp_path: Path) -> None:
    with Served(tmp_path, wall(laptop=True, clients=6), "--play", "controller") as served:
        rehearse(served)
        served.interrupt()
    first = tmp_path / "first.trace"
    assert busim("replay", str(served.trace), "--trace", str(first)).returncode == 0
    done = busim_here("replay", str(first), "--json")
    assert done.returncode == 0
    outcome = json.loads(done.stdout)["replay"]
    assert outcome == {"identical": True, "complete": True, "difference": None, "hints": []}


def test_a_killed_session_replays_up_to_where_its_trace_breaks_off(tmp_path: Path) -> None:
    with Served(tmp_path, wall(laptop=True, every="31 ms", clients=6), "--play", "controller") as served:
        rehearse(served)
        wait_for(lambda: _ends(served.trace) > 0)
        served.process.kill()
        served.process.wait()
    done = busim_here("replay", str(served.trace))
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.rstrip().splitlines()[-1].startswith("identical up to where the trace breaks off")


def _ends(path: Path) -> int:
    with open_trace(path) as trace:
        return sum(record[4] in ("close", "reset") for record in trace.inputs())


def test_a_trace_of_busim_run_replays_with_its_marks(tmp_path: Path) -> None:
    plan, trace = tmp_path / "plan.yaml", tmp_path / "fast.trace"
    plan.write_text(wall(laptop=True))
    run = ("run", str(plan), "--for", "5 s", "--trace", str(trace), "--mark", "1s one", "--mark", "4999ms two")
    assert busim_here(*run).returncode == 0
    played = replay(trace)
    assert played.difference is None
    assert played.complete
    assert played.report.length == 5_000_000_000


# -- the order of what happens at one instant -----------------------------------------------------------------

STEPS = st.lists(
    st.tuples(st.sampled_from((0, 0, 1, 250_000, 2 * MS)), st.sampled_from(("open", "ask", "part", "close", "stall",
              "ready", "mark")), st.integers(1, 4)),
    max_size=40,
)  # fmt: skip


@settings(max_examples=30, deadline=None)
@given(STEPS, st.integers(0, 3))
def test_inputs_and_marks_of_one_instant_replay_in_their_order(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[int, str, int]], seed: int
) -> None:
    """As the wall clock does it: bring the kernel to the instant, then apply; many at one instant, or at an event's."""
    trace = tmp_path_factory.mktemp("order") / "made.trace"
    run = Run(read_text(wall(laptop=True, every="3 ms")), seed, trace=trace, played=("laptop",), watched=True)
    kernel, port = run.world.kernel, run.world.converters["wall box"]
    inside: set[int] = set()
    for wait, what, client in steps:
        due = kernel.next_deadline()
        run.advance(due if wait == 1 and due is not None else kernel.now + wait)
        if what == "mark":
            run.world.mark(f"mark {client}")
        elif what == "open" and client not in inside:
            if port.open(client, lambda *_: None):
                inside.add(client)
        elif client in inside:
            if what == "ask":
                port.chunk(client, read_frame(client, BUS_ID))
            elif what == "part":
                port.chunk(client, read_frame(client, BUS_ID)[:client])
            elif what == "close":
                port.close(client)
                inside.discard(client)
            elif what == "stall":
                port.stall(client)
            elif what == "ready":
                port.ready(client)
    run.advance(kernel.now + 10 * MS)
    run.finish()
    assert replay(trace).difference is None


# -- differences and traces that cannot be played -----------------------------------------------------------


def made(folder: Path) -> Path:
    """A trace with one client, its one request, and one mark."""
    trace = folder / "made.trace"
    run = Run(read_text(wall()), 1, trace=trace, played=(), watched=True)
    port = run.world.converters["wall box"]
    port.open(1, lambda *_: None)
    run.advance(5 * MS)
    port.chunk(1, read_frame(1, BUS_ID))
    run.advance(50 * MS)
    run.world.mark("asked")
    run.finish()
    return trace


def changed(trace: Path, statement: str) -> Path:
    with sqlite3.connect(trace) as database:
        database.execute(statement)
    database.close()
    return trace


def test_the_first_difference_is_told_with_both_sides(tmp_path: Path) -> None:
    trace = changed(made(tmp_path), "UPDATE burst SET data = x'00' WHERE n = 2")
    done = busim_here("replay", str(trace))
    assert done.returncode == 1
    assert "different, first in burst 2:" in done.stdout
    assert "in the trace: (0, " in done.stdout
    assert "b'\\x00'" in done.stdout


@pytest.mark.parametrize(
    ("statement", "kind", "number", "sides"),
    [
        ("UPDATE name SET name = 'other' WHERE kind = 'camera'", "name", 3, (True, True)),
        ("INSERT INTO exchange SELECT n + 1, line, master, camera, address, kind, work, attempt, asked, sent, ended, "
         "free, outcome, read_at, exact FROM exchange", "exchange", 2, (True, False)),
        ("DELETE FROM exchange", "exchange", 1, (False, True)),
    ],
)  # fmt: skip
def test_records_that_are_missing_or_too_many_are_differences(
    tmp_path: Path, statement: str, kind: str, number: int, sides: tuple[bool, bool]
) -> None:
    difference = replay(changed(made(tmp_path), statement)).difference
    assert difference is not None
    assert (difference.kind, difference.number) == (kind, number)
    assert (difference.old is not None, difference.new is not None) == sides


def test_a_difference_names_another_version_and_other_defaults_as_reasons(tmp_path: Path) -> None:
    trace = changed(made(tmp_path), "UPDATE burst SET data = x'00'")
    changed(trace, "UPDATE head SET value = '0.0.9' WHERE key = 'busim'")
    changed(trace, "UPDATE head SET value = '{}' WHERE key = 'defaults'")
    hints = replay(trace).hints
    assert "0.0.9" in hints[0]
    assert "defaults that the plan relies on" in hints[1]


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE input SET port = 999",
        "UPDATE input SET what = 'wish'",
        "UPDATE input SET at = 40000000 WHERE n = 1",
        "UPDATE input SET at = 60000000 WHERE n = 2",
        "UPDATE head SET value = 'x' WHERE key = 'seed'",
        "UPDATE head SET value = 'x' WHERE key = 'played'",
        "UPDATE head SET value = '[1]' WHERE key = 'played'",
        "UPDATE head SET value = 'busim: 1' WHERE key = 'plan_text'",
        "DELETE FROM head WHERE key = 'plan_text'",
    ],
)
def test_a_trace_that_busim_did_not_write_so_is_the_users_to_mend(tmp_path: Path, statement: str) -> None:
    with pytest.raises(UserError):
        replay(changed(made(tmp_path), statement))


def test_a_trace_is_not_replayed_into_itself(tmp_path: Path) -> None:
    trace = made(tmp_path)
    before = trace.read_bytes()
    done = busim_here("replay", str(trace), "--trace", str(trace), "--overwrite")
    assert done.returncode == 2
    assert "into itself" in done.stderr
    assert trace.read_bytes() == before


def test_a_file_that_is_no_trace_is_told(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("notes")
    for wrong in (path, tmp_path / "nothing"):
        done = busim_here("replay", str(wrong))
        assert done.returncode == 2
        assert "Traceback" not in done.stderr

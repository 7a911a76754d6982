"""The trace: records come back unchanged, whatever happens to the run, the disk or the file."""

from __future__ import annotations

import contextlib
import os
import resource
import select
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from fractions import Fraction
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from places import TOP

import busim
from busim.foundation.errors import Defect, UserError
from busim.foundation.units import CharFormat
from busim.recording.trace import (
    BURST,
    CHANGE,
    EFFECT,
    EXCHANGE,
    FRAME,
    HEAD,
    HEARD,
    INPUT,
    MARK,
    SCHEMA,
    TABLES,
    Name,
    Record,
    Setting,
    TraceWriter,
    describe,
    open_trace,
)
from busim.recording.trace.batches import Batch
from busim.recording.trace.schema import BESIDE
from busim.runtime.session import Recorder

MS = 10**6
REQUEST, REPLY = bytes.fromhex("0103006B00037417"), bytes.fromhex("010306022B00000064057A")

EVERY_KIND: list[Record] = [
    (BURST, 1, 2, 0, 4_583_333, 1, REQUEST, 0),
    (BURST, 1, 3, 9_000_000, 15_302_083, 1, REPLY, 1),
    (HEARD, 1, 2, 9_546_875, 15_276_042, REPLY[:-1] + b"\x7b", bytes(10) + b"\x02"),
    (FRAME, 1, 2, 17_000_000, "check", REPLY),
    (EXCHANGE, 1, 4, 3, 1, "poll", "state", 1, 0, 0, 15_276_042, 17_281_250, "damaged", 8_000_000, 1),
    (INPUT, 1_000_000, 5, 1, "bytes", b"\x00\xff"),
    (CHANGE, 8_000_000, 3, "iris", "512"),
    (EFFECT, 0, 5, "clients", "refused the fifth client"),
    (MARK, 2**40, "Übung, part 2 – speed lane"),
]


def _head() -> dict[str, int | float | str]:
    return {"clock": "fast", "seed": 1, "epoch": 0, "plan_path": "hall.yaml", "plan_text": "name: hall", "speed": 0.5}


def _record(path: Path, records: list[Record], **options: Any) -> None:
    with Recorder(path, _head(), **options) as recorder:
        recorder.name(1, "line", "wall")
        recorder.name(2, "converter", "wall box", 1)
        recorder.setting(1, Fraction(19200), CharFormat.parse("8E1"))
        for record in records:
            recorder.append(record)
        recorder.close(20 * MS)


def _write(path: Path, records: list[Record], **parts: Any) -> None:
    """Writes in this process, for tests of the file and not of its writer."""
    writer = TraceWriter(str(path), _head())
    batch = Batch([(1, "line", "wall", 0)], [(1, "19200", "8E1", 0.0, 0, 0, 0)], records, [], 20 * MS)
    writer.write(batch._replace(**parts))
    writer.close()


def _fingerprint(path: Path) -> str:
    with open_trace(path) as trace:
        return trace.fingerprint()


def test_what_is_recorded_is_read_back(tmp_path: Path) -> None:
    path = tmp_path / "hall.busim"
    with Recorder(path, _head(), live=True) as recorder:
        recorder.name(1, "line", "wall")
        recorder.name(2, "converter", "wall box", 1)
        recorder.setting(1, Fraction(115200, 7), CharFormat.parse("7E1.5"), -120.5, True, -900, 70)
        for record in EVERY_KIND:
            recorder.append(record)
            recorder.flush()
        recorder.lateness(3 * MS, 42_000)
        recorder.close(20 * MS)
    with open_trace(path) as trace:
        made = {"schema": SCHEMA, "busim": busim.__version__, "ended_at": 20 * MS, "complete": 1}
        assert trace.head == _head() | made
        assert trace.names == {1: Name("line", "wall", 0), 2: Name("converter", "wall box", 1)}
        assert trace.settings == {1: Setting(Fraction(115200, 7), CharFormat.parse("7E1.5"), -120.5, True, -900, 70)}
        assert list(trace.records()) == EVERY_KIND
        assert list(trace.inputs()) == [EVERY_KIND[5]]
        assert list(trace.lateness()) == [(3 * MS, 42_000)]
    assert [file.name for file in tmp_path.iterdir()] == ["hall.busim"]  # one file, nothing beside it


def test_the_writers_process_loads_nothing_that_reads() -> None:
    program = "import sys; sys.path.insert(0, sys.argv[1]); import busim.recording.trace.child; print(*sys.modules)"
    command = [sys.executable, "-I", "-S", "-c", program, str(TOP)]
    loaded = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
    assert "busim.recording.trace.writer" in loaded
    for name in ("busim.recording.trace.reader", "busim.foundation.units", "dataclasses", "inspect", "numpy"):
        assert name not in loaded, name


def test_more_than_one_batch_keeps_its_order(tmp_path: Path) -> None:
    records: list[Record] = [(MARK, (n * 7919) % 10_007, str(n)) for n in range(10_000)]
    _record(tmp_path / "t", records)
    with open_trace(tmp_path / "t") as trace:
        assert list(trace.records(MARK)) == records


_INTEGER = st.integers(-(2**63), 2**63 - 1)
_TIME = st.integers(0, 10**9)
_VALUES = {"data": st.binary(max_size=40), "flags": st.binary(max_size=40)}
_TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)


def _value(kind: int, column: str) -> st.SearchStrategy[Any]:
    if column in _VALUES:
        return _VALUES[column]
    if column in ("what", "kind", "work", "outcome", "parameter", "value", "fault", "text", "panel", "had"):
        return _TEXT
    return _TIME if kind in (BURST, EXCHANGE) else _INTEGER


_RECORD = st.sampled_from(list(TABLES)).flatmap(
    lambda kind: st.tuples(st.just(kind), *(_value(kind, column) for column in TABLES[kind][1]))
)


@given(st.lists(_RECORD, max_size=30))
@settings(max_examples=60, deadline=None)
def test_any_record_comes_back_as_it_was(tmp_path_factory: pytest.TempPathFactory, records: list[Record]) -> None:
    path = tmp_path_factory.mktemp("drawn") / "t"
    _write(path, records)
    with open_trace(path) as trace:
        assert list(trace.records()) == sorted(records, key=lambda record: record[0])


def test_a_window_is_cut_by_the_instant_and_by_the_line(tmp_path: Path) -> None:
    places = [(1, 5 * MS), (2, 3 * MS), (1, 9 * MS), (2, 7 * MS)]
    bursts: list[Record] = [(BURST, line, 2, at, at + 500, 1, b"", 0) for line, at in places]
    _write(tmp_path / "t", bursts)
    with open_trace(tmp_path / "t") as trace:
        assert list(trace.records(BURST, since=5 * MS, until=9 * MS)) == [bursts[0], bursts[3]]
        assert list(trace.records(BURST, line=1)) == [bursts[0], bursts[2]]
        assert list(trace.records(BURST, by_time=True)) == [bursts[1], bursts[0], bursts[3], bursts[2]]
        assert list(trace.records(line=2, since=7 * MS)) == [bursts[3]]


# What makes two runs equal


def test_the_fingerprint_is_the_same_in_another_process(tmp_path: Path) -> None:
    _record(tmp_path / "here", EVERY_KIND)
    script = "import sys; from busim.recording.trace import open_trace; print(open_trace(sys.argv[1]).fingerprint())"
    command = [sys.executable, "-c", script, str(tmp_path / "here")]
    environment = os.environ | {"PYTHONHASHSEED": "7"}
    out = subprocess.run(command, env=environment, check=True, capture_output=True, text=True)
    assert out.stdout.strip() == _fingerprint(tmp_path / "here")


def test_the_fingerprint_does_not_know_when_where_and_how_late(tmp_path: Path) -> None:
    _write(tmp_path / "a", EVERY_KIND)
    writer = TraceWriter(str(tmp_path / "b"), {"epoch": 5, "plan_path": "elsewhere"})
    names, kinds = [(1, "line", "wall", 0)], [(1, "19200", "8E1", 0.0, 0, 0, 0)]
    writer.write(Batch(names, kinds, EVERY_KIND[:4], [(1, 2)], None))
    writer.write(Batch([], [], EVERY_KIND[4:], [], None))
    writer.close()
    assert _fingerprint(tmp_path / "a") == _fingerprint(tmp_path / "b")


def _changed() -> Iterator[tuple[str, list[Record], dict[str, Any]]]:
    for number, record in enumerate(EVERY_KIND):
        table, columns, _ = TABLES[record[0]]
        for place, column in enumerate(columns, 1):
            value = record[place]
            other = value + 1 if isinstance(value, int) else value + (b"x" if isinstance(value, bytes) else "x")
            records = list(EVERY_KIND)
            records[number] = (*record[:place], other, *record[place + 1 :])
            yield f"{table}.{column}", records, {}
    yield "order", [EVERY_KIND[1], EVERY_KIND[0], *EVERY_KIND[2:]], {}
    yield "one less", EVERY_KIND[:-1], {}
    yield "name", EVERY_KIND, {"names": [(1, "line", "mats", 0)]}
    yield "setting", EVERY_KIND, {"settings": [(1, "19200", "8E1", 0.5, 0, 0, 0)]}


@pytest.mark.parametrize(("records", "parts"), [pytest.param(*case[1:], id=case[0]) for case in _changed()])
def test_any_change_changes_the_fingerprint(tmp_path: Path, records: list[Record], parts: dict[str, Any]) -> None:
    _write(tmp_path / "a", EVERY_KIND)
    _write(tmp_path / "b", records, **parts)
    assert _fingerprint(tmp_path / "a") != _fingerprint(tmp_path / "b")


# Sums per 100 ms


def _burst(start: int, end: int) -> Record:
    return (BURST, 1, 2, start, end, 1, b"", 0)


def _exchange(sent: int, ended: int, outcome: str) -> Record:
    return (EXCHANGE, 1, 4, 3, 1, "poll", "state", 1, sent, sent, ended, ended, outcome, -1, 0)


def test_summary_rows_hold_what_happened_in_each_100_ms(tmp_path: Path) -> None:
    records = [
        _burst(10 * MS, 30 * MS),
        _burst(20 * MS, 50 * MS),  # collides: the wire is busy once
        _burst(90 * MS, 120 * MS),  # counts where it began, its time where it was
        _exchange(10 * MS, 60 * MS, "ok"),
        _exchange(70 * MS, 320 * MS, "time-out"),
        _exchange(330 * MS, 340 * MS, "damaged"),
    ]
    _write(tmp_path / "t", records)
    with open_trace(tmp_path / "t") as trace:
        assert [row[1:] for row in chain.from_iterable(trace.summary(1))] == [
            (0, 3, 1, 50 * MS, 80 * MS, 0, 0),
            (100 * MS, 0, 0, 20 * MS, 100 * MS, 0, 0),
            (200 * MS, 0, 0, 0, 100 * MS, 0, 0),
            (300 * MS, 0, 2, 0, 30 * MS, 1, 1),
        ]
        part = list(chain.from_iterable(trace.summary(1, since=100 * MS, until=300 * MS)))
        assert [row[1] for row in part] == [100 * MS, 200 * MS]
        assert list(trace.summary(2)) == []


@given(st.lists(st.tuples(st.integers(0, 400), st.integers(1, 150)), max_size=12), st.integers(1, 12))
@settings(max_examples=60, deadline=None)
def test_the_wire_is_busy_once_however_many_drive(
    tmp_path_factory: pytest.TempPathFactory, stretches: list[tuple[int, int]], batch: int
) -> None:
    path = tmp_path_factory.mktemp("busy") / "t"
    writer = TraceWriter(str(path), {})
    bursts = [_burst(start * MS, (start + length) * MS) for start, length in stretches]
    for n in range(0, len(bursts), batch):
        writer.write(Batch([], [], bursts[n : n + batch], [], None))
    writer.close()
    busy = {ms for start, length in stretches for ms in range(start, start + length)}
    with open_trace(path) as trace:
        rows = {row[1]: row[4] for row in chain.from_iterable(trace.summary(1))}
    for bucket in range(0, 600, 100):
        assert rows.get(bucket * MS, 0) == MS * len(busy & set(range(bucket, bucket + 100)))


def test_a_million_records_open_without_being_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "t"
    _write(path, [])
    with contextlib.closing(sqlite3.connect(path)) as database, database:
        database.execute(
            "WITH RECURSIVE count(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM count WHERE n < 999999) "
            "INSERT INTO burst SELECT n + 1, 1, 2, n * 10000000, n * 10000000 + 5000000, 1, x'0102', 0 FROM count"
        )
    steps = 0

    def count() -> int:
        nonlocal steps
        steps += 1
        return 0

    def connect(*arguments: Any, **options: Any) -> sqlite3.Connection:
        database: sqlite3.Connection = plain(*arguments, **options)
        database.set_progress_handler(count, 1000)
        return database

    plain = sqlite3.connect
    monkeypatch.setattr(sqlite3, "connect", connect)
    with open_trace(path) as trace:
        second = list(trace.records(BURST, since=5_000 * 1000 * MS, until=5_001 * 1000 * MS))
        first = next(trace.records(BURST))
        earliest = next(trace.records(BURST, by_time=True))
        assert (len(second), first[3], earliest[3]) == (100, 0, 0)
        assert steps < 20  # thousands of the database's instructions; the whole table takes 10,000
        assert sum(1 for _ in trace.records(BURST)) == 1_000_000
        assert steps > 1000  # the count does count


# When things go wrong

_ENDLESS = """
import sys
from busim.runtime.session import Recorder
from busim.recording.trace import MARK
with Recorder(sys.argv[1], {}) as recorder:
    for n in range(10**9):
        recorder.append((MARK, n, ""))
        if n % 500 == 499:
            recorder.flush()
            print(n + 1, flush=True)
            if n + 1 == int(sys.argv[2]):
                sys.stdin.read()
"""


def test_a_killed_run_leaves_all_that_it_flushed(tmp_path: Path) -> None:
    path = tmp_path / "t"
    # the writer inherits standard error, so that its end is the end of that pipe
    run = subprocess.Popen(
        [sys.executable, "-c", _ENDLESS, str(path), "-1"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert run.stdout is not None
    assert run.stderr is not None
    for _ in range(20):
        flushed = int(run.stdout.readline())
    run.send_signal(signal.SIGKILL)
    assert run.stderr.read() == b""
    run.stdout.close()
    run.stderr.close()
    run.wait()
    with open_trace(path) as trace:
        instants = [record[1] for record in trace.records(MARK)]
        assert instants == list(range(len(instants)))
        assert len(instants) >= flushed
        assert trace.head["complete"] == 0
        assert "ended_at" not in trace.head


def test_a_trace_is_read_while_it_is_written(tmp_path: Path) -> None:
    path = tmp_path / "t"
    with subprocess.Popen(
        [sys.executable, "-c", _ENDLESS, str(path), "2000"], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as run:
        assert run.stdout is not None
        while int(run.stdout.readline()) < 2000:
            pass
        with open_trace(path) as trace:
            assert trace.head["complete"] == 0
            instants = [record[1] for record in trace.records(MARK)]
            assert instants == list(range(len(instants)))
        run.kill()


def test_ctrl_c_ends_the_run_and_not_its_writer(tmp_path: Path) -> None:
    path = tmp_path / "t"
    script = f"""
from busim.runtime.session import Recorder
from busim.recording.trace import MARK
with Recorder({str(path)!r}, {{}}) as recorder:
    n = 0
    try:
        print("ready", flush=True)
        while True:
            recorder.append((MARK, n, ""))
            n += 1
    except KeyboardInterrupt:
        recorder.close(n)
"""
    with subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, start_new_session=True) as run:
        assert run.stdout is not None
        assert run.stdout.readline() == b"ready\n"
        os.killpg(run.pid, signal.SIGINT)
        assert run.wait() == 0
    with open_trace(path) as trace:
        assert trace.head["complete"] == 1
        instants = [record[1] for record in trace.records()]
        assert instants == list(range(len(instants)))
        assert len(instants) - int(trace.head["ended_at"]) in (0, 1)  # it may have been stopped between the two


def test_a_run_that_fails_keeps_its_trace_and_its_error(tmp_path: Path) -> None:
    def run() -> None:
        with Recorder(tmp_path / "t", {}) as recorder:
            recorder.append(EVERY_KIND[0])
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        run()
    with open_trace(tmp_path / "t") as trace:
        assert list(trace.records()) == EVERY_KIND[:1]
        assert trace.head["complete"] == 0


@contextlib.contextmanager
def _small_disk(size: int) -> Iterator[None]:
    """Processes started here cannot make a file larger than `size` bytes, as on a full disk."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_full_disk_is_told_with_the_path(tmp_path: Path) -> None:
    path = tmp_path / "t"
    with _small_disk(400_000):
        recorder = Recorder(path, {})
    with pytest.raises(UserError) as caught:  # noqa: PT012 - which of the flushes learns of it is open
        for n in range(10**6):
            recorder.append((MARK, n, "a mark of some length, so that the disk fills soon"))
    assert caught.value.file == str(path)
    assert caught.value.found in ("disk I/O error", "database or disk is full")
    with pytest.raises(UserError):
        recorder.flush()  # and it stays told
    with open_trace(path) as trace:
        instants = [record[1] for record in trace.records(MARK)]
        assert instants == list(range(len(instants)))


def test_a_disk_that_fills_at_the_end_is_told_by_close(tmp_path: Path) -> None:
    with _small_disk(200_000):
        recorder = Recorder(tmp_path / "t", {})
    recorder.append((MARK, 1, "x" * 300_000))
    with pytest.raises(UserError, match="cannot be written"):
        recorder.close(1)


def test_a_writer_that_is_killed_is_told(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path / "t", {}, live=True)
    recorder._process.kill()
    recorder._process.wait()
    with pytest.raises(UserError, match="was stopped; found signal 9"):
        recorder.flush()


def test_a_live_run_never_waits_for_its_writer(tmp_path: Path) -> None:
    size = 1 << 20
    recorder = Recorder(tmp_path / "t", {}, live=True)
    os.kill(recorder._process.pid, signal.SIGSTOP)
    for n in range(8):
        recorder.append((INPUT, n, 1, 1, "bytes", bytes(size)))
        recorder.flush()  # would hang here: nobody reads
    assert not select.select([], [recorder._pipe], [], 0)[1]  # the pipe is full
    os.kill(recorder._process.pid, signal.SIGCONT)
    recorder.close(9)
    with open_trace(tmp_path / "t") as trace:
        assert [(record[1], len(record[5])) for record in trace.inputs()] == [(n, size) for n in range(8)]


@pytest.mark.parametrize(
    "record",
    [
        pytest.param((MARK, np.int64(5), "an array's element"), id="numpy"),
        pytest.param((MARK, 5, object()), id="object"),
        pytest.param((MARK, "five", ""), id="text for a number"),
        pytest.param((MARK, 5, None), id="nothing"),
        pytest.param((MARK, 5), id="too short"),
        pytest.param((MARK, 2**63, ""), id="too large"),
        pytest.param((99, 5, ""), id="no such kind"),
        pytest.param((), id="empty"),
    ],
)
def test_a_record_that_does_not_fit_is_a_defect(tmp_path: Path, record: Record) -> None:
    recorder = Recorder(tmp_path / "t", {})
    recorder.append(EVERY_KIND[0])
    recorder.flush()
    recorder.append(record)
    with pytest.raises(Defect, match="record"):
        recorder.close(1)
    with open_trace(tmp_path / "t") as trace:
        assert list(trace.records()) == EVERY_KIND[:1]


def test_a_head_has_only_the_keys_that_are_described(tmp_path: Path) -> None:
    with pytest.raises(Defect, match="weather"):
        Recorder(tmp_path / "t", {"weather": "fine"})


def test_an_existing_file_is_refused(tmp_path: Path) -> None:
    _record(tmp_path / "t", EVERY_KIND)
    with pytest.raises(UserError, match="a file is there already") as caught:
        Recorder(tmp_path / "t", {})
    assert caught.value.file == str(tmp_path / "t")
    with open_trace(tmp_path / "t") as trace:
        assert list(trace.records()) == EVERY_KIND


def test_an_old_trace_is_overwritten_when_asked(tmp_path: Path) -> None:
    _record(tmp_path / "t", EVERY_KIND)
    _record(tmp_path / "t", EVERY_KIND[:1], overwrite=True)
    with open_trace(tmp_path / "t") as trace:
        assert list(trace.records()) == EVERY_KIND[:1]


def test_a_file_that_is_no_trace_is_never_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "thesis.txt"
    path.write_text("years of work")
    with pytest.raises(UserError, match="no trace is not overwritten"):
        Recorder(path, {}, overwrite=True)
    assert path.read_text() == "years of work"


def test_a_missing_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="No such file or directory"):
        Recorder(tmp_path / "none" / "t", {})


def test_the_writer_process_loads_little() -> None:
    root = str(Path(busim.__file__).parent.parent)
    script = f"import sys; sys.path.insert(0, {root!r}); import busim.recording.trace.child; print(*sys.modules)"
    out = subprocess.run([sys.executable, "-I", "-S", "-c", script], check=True, capture_output=True, text=True)
    assert not set(out.stdout.split()) & {"numpy", "asyncio", "multiprocessing", "socket", "pydantic", "construct"}


# Files that are not what they should be


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="cannot be opened; found No such file"):
        open_trace(tmp_path / "none")


@pytest.mark.parametrize("content", [b"", b"SQLite format 3\0", b"name: hall\n" * 50])
def test_a_file_of_another_kind_is_told(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "t").write_bytes(content)
    with pytest.raises(UserError, match="not a trace"):
        open_trace(tmp_path / "t")


def test_another_database_is_no_trace(tmp_path: Path) -> None:
    with contextlib.closing(sqlite3.connect(tmp_path / "t")) as database:
        database.execute("CREATE TABLE head (key, value)")
    with pytest.raises(UserError, match="not a trace"):
        open_trace(tmp_path / "t")


def test_a_trace_from_before_numbers_were_called_row_is_read(tmp_path: Path) -> None:
    _write(tmp_path / "t", EVERY_KIND)
    with contextlib.closing(sqlite3.connect(tmp_path / "t")) as database, database:
        for table in ("name", "setting"):
            database.execute(f"ALTER TABLE {table} RENAME COLUMN row TO id")
        database.execute("UPDATE head SET value = 3 WHERE key = 'schema'")
    with open_trace(tmp_path / "t") as trace:
        assert trace.head["schema"] == 3
        assert list(trace.records()) == EVERY_KIND


def test_a_newer_schema_is_refused_with_the_version(tmp_path: Path) -> None:
    _write(tmp_path / "t", [])
    with contextlib.closing(sqlite3.connect(tmp_path / "t")) as database, database:
        database.execute("UPDATE head SET value = 99 WHERE key = 'schema'")
    with pytest.raises(UserError, match="newer busim; found schema 99"):
        open_trace(tmp_path / "t")


@pytest.mark.parametrize("at", [0.02, 0.3, 0.6, 0.95])
@pytest.mark.parametrize("how", ["cut", "overwritten"])
def test_a_damaged_file_never_ends_in_anything_but_an_error_for_the_user(tmp_path: Path, at: float, how: str) -> None:
    path = tmp_path / "t"
    _write(path, [(INPUT, n, 1, 1, "bytes", bytes(50)) for n in range(3000)])
    content = bytearray(path.read_bytes())
    place = int(len(content) * at)
    if how == "cut":
        del content[place:]
    else:
        content[place : place + 9000] = b"\xa5" * 9000
    path.write_bytes(content)

    def read_all() -> None:
        with open_trace(path) as trace:
            trace.fingerprint()
            list(trace.records(INPUT, since=0))
            list(trace.summary(1))

    with pytest.raises(UserError):
        read_all()


def test_the_description_names_every_table_and_column() -> None:
    text = describe()
    for table, columns, _ in TABLES.values():
        assert f"\n{table}\n" in text
        assert all(column in text for column in columns)
    for table, (columns, _, _) in BESIDE.items():
        assert f"\n{table}\n" in text
        assert all(column.split()[0] in text for column in columns)
    assert all(meaning in text for meaning in HEAD.values())


def test_ctrl_c_waits_for_a_hand_over_though_another_thread_takes_the_signal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """numpy has threads that take a signal which the main thread blocks; Python raises in the main thread anyway."""
    path = tmp_path / "t"
    over = threading.Event()
    other = threading.Thread(target=over.wait, daemon=True)
    other.start()
    taken, told = os.pipe()
    os.set_blocking(told, False)
    write = os.write

    def write_disturbed(pipe: int, data: bytes) -> int:
        count = write(pipe, data)
        assert other.ident is not None
        signal.pthread_kill(other.ident, signal.SIGINT)
        os.read(taken, 1)
        return count

    with Recorder(path, {}) as recorder:
        recorder.append((MARK, 0, "before"))
        before = signal.set_wakeup_fd(told)
        try:
            with monkeypatch.context() as patched:
                patched.setattr("busim.runtime.session.recorder.os.write", write_disturbed)
                with pytest.raises(KeyboardInterrupt):
                    recorder.flush()
        finally:
            signal.set_wakeup_fd(before)
            over.set()
        recorder.append((MARK, 1, "after"))
        recorder.close(2)
    with open_trace(path) as trace:
        assert [record[1] for record in trace.records()] == [0, 1]


# Whose the file is


def test_a_second_writer_of_a_trace_is_refused_though_it_may_overwrite(tmp_path: Path) -> None:
    path = tmp_path / "t"
    with Recorder(path, _head()) as recorder:
        recorder.append((MARK, 1, "first"))
        with pytest.raises(UserError, match="another run is writing this trace"):
            Recorder(path, _head(), overwrite=True)
        recorder.close(5)
    with open_trace(path) as trace:
        assert [record[2] for record in trace.records(MARK)] == ["first"]
    Recorder(path, _head(), overwrite=True).close(5)


@pytest.mark.timeout(30)
@pytest.mark.parametrize("overwrite", [False, True])
def test_a_trace_goes_into_a_file_and_nothing_else(tmp_path: Path, overwrite: bool) -> None:
    os.mkfifo(tmp_path / "pipe")
    for name in (str(tmp_path / "pipe"), "/dev/null", str(tmp_path)):
        with pytest.raises(UserError, match="into a file, not a pipe or device"):
            Recorder(name, _head(), overwrite=overwrite)


def test_what_an_older_trace_left_beside_does_not_get_into_the_new_one(tmp_path: Path) -> None:
    (tmp_path / "t-wal").write_bytes(bytes.fromhex("377f0682") + bytes(100))
    _write(tmp_path / "t", [(MARK, 1, "")])
    with open_trace(tmp_path / "t") as trace:
        assert sum(1 for _ in trace.records()) == 1
    (tmp_path / "u-wal").write_text("notes of mine")
    with pytest.raises(UserError, match="a file is there already where the trace has its own"):
        _write(tmp_path / "u", [])
    assert (tmp_path / "u-wal").read_text() == "notes of mine"

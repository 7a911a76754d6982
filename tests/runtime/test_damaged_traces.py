"""A damaged or malicious trace gives one sentence for the user, in bounded time and memory."""

from __future__ import annotations

import contextlib
import os
import resource
import shutil
import sqlite3
import struct
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from serving import busim_here, read_frame
from virtual_halls import MS, hall

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.plan import read_text
from busim.recording.exports import FORMATS
from busim.recording.trace import MARK, SCHEMA, TABLES, TraceWriter, open_trace
from busim.recording.trace.batches import Batch
from busim.recording.trace.schema import BESIDE
from busim.runtime.session import Run, compare, replay

BOX = "wall box"


def record(path: Path, length: int = 300 * MS) -> None:
    """A run with records of every kind that a session at a converter makes."""
    run = Run(hall(masters="both"), 1, trace=path, played=["laptop"], watched=True, hooked=True, epoch=0)
    box = run.world.converters[BOX]
    run.advance(10 * MS)
    box.open(1, lambda *_: None)
    box.open(2, lambda *_: None, True)
    box.chunk(1, read_frame(1, 0))
    box.set(2, Fraction(9600), CharFormat.parse("8N1"))
    run.advance(40 * MS)
    box.set(2, Fraction(115200), CharFormat.parse("8E1"))
    box.stall(1)
    box.ready(1)
    box.close(2, reset=True)
    run.world.mark("doors open")
    assert run.world.hook is not None
    run.world.hook.intend("wall low", "iris", 7)
    run.world.hook.refuse("no JSON")
    run.advance(length)
    run.finish()


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sound") / "sound.trace"
    record(path)
    assert replay(path).difference is None
    return path


@pytest.fixture
def trace(sound: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(sound, tmp_path / "t.trace"))


@contextlib.contextmanager
def opened(path: Path) -> Iterator[sqlite3.Connection]:
    with contextlib.closing(sqlite3.connect(path)) as database, database:
        yield database


def use(path: Path) -> None:
    """Every use of a trace in busim. Raises UserError if it is damaged."""
    with contextlib.ExitStack() as stack:
        folder = path.parent
        trace = stack.enter_context(open_trace(path))
        for line in [number for number, name in trace.names.items() if name.kind == "line"]:
            list(trace.summary(line))
        list(trace.lateness())
        for format in FORMATS.values():
            format.write(trace, folder / f"out{format.suffix}", None, overwrite=True)
            format.command(trace, "out", None)
        compare(path, path).as_json()
        replay(path)


def test_a_sound_trace_can_be_used(trace: Path) -> None:
    use(trace)


# -- what is no table of a trace --------------------------------------------------------------------------------------

ENDLESS = "WITH RECURSIVE c(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM c)"


@pytest.mark.parametrize(
    "statements",
    [
        ("DROP TABLE mark", f"CREATE VIEW mark AS {ENDLESS} SELECT n, n AS at, '' AS text FROM c"),
        ("DROP TABLE head", f"CREATE VIEW head AS {ENDLESS} SELECT 'schema' AS key, n AS value FROM c"),
        ("CREATE VIEW more AS SELECT zeroblob(1000000000)",),
        ("CREATE TABLE more (a)",),
        ("CREATE TRIGGER more AFTER INSERT ON mark BEGIN SELECT 1; END",),
        ("DROP TABLE belief",),
        ("DROP INDEX burst_at",),
        ("ALTER TABLE mark ADD COLUMN more TEXT",),
        ("DROP TABLE mark", "CREATE TABLE mark (n INTEGER PRIMARY KEY, at, text)"),
        ("ALTER TABLE mark RENAME COLUMN text TO words",),
    ],
)
def test_tables_that_are_not_those_of_a_trace_are_refused_before_they_are_read(
    trace: Path, statements: tuple[str, ...]
) -> None:
    with opened(trace) as database:
        for statement in statements:
            database.execute(statement)
    with pytest.raises(UserError, match="the trace is damaged"):
        open_trace(trace)


# SQL that takes a trace back to the schema before: 4 renamed a column, 3 added pulses, 2 added intents and beliefs.
BEFORE = {
    4: ("ALTER TABLE name RENAME COLUMN row TO id", "ALTER TABLE setting RENAME COLUMN row TO id"),
    3: ("DROP TABLE pulse",),
    2: ("DROP TABLE intent", "DROP TABLE belief"),
}


@pytest.mark.parametrize("schema", range(1, SCHEMA))
def test_an_older_trace_has_the_tables_of_its_time(trace: Path, schema: int) -> None:
    with open_trace(trace) as today:
        names, settings_, count = today.names, today.settings, sum(1 for _ in today.records(MARK))
    assert names
    assert settings_
    assert count
    make_older(trace, schema)
    with open_trace(trace) as older:
        assert (older.names, older.settings) == (names, settings_)
        assert sum(1 for _ in older.records(MARK)) == count
        assert sum(1 for _ in older.records()) > 20


@pytest.mark.parametrize("schema", range(1, SCHEMA))
def test_a_trace_with_the_tables_of_another_schema_is_refused(trace: Path, schema: int) -> None:
    with opened(trace) as database:
        database.execute("UPDATE head SET value = ? WHERE key = 'schema'", (schema,))
    with pytest.raises(UserError, match="tables that are not those of a trace"):
        open_trace(trace)


def make_older(trace: Path, schema: int) -> None:
    """Turn it into a trace of this schema number."""
    with opened(trace) as database:
        for since in range(SCHEMA, schema, -1):
            for statement in BEFORE[since]:
                database.execute(statement)
        database.execute("UPDATE head SET value = ? WHERE key = 'schema'", (schema,))


# -- values that no run has -------------------------------------------------------------------------------------------


@pytest.mark.timeout(20)
@pytest.mark.parametrize("baud", ["1e999999999", "1/0", "0", "-5", "9" * 1000, "nan", "", "38400 "])
def test_a_baud_rate_that_none_can_have_is_damage(trace: Path, baud: str) -> None:
    with opened(trace) as database:
        database.execute("UPDATE setting SET baud = ?", (baud,))
    with pytest.raises(UserError, match="the trace is damaged"):
        open_trace(trace)


@pytest.mark.timeout(20)
@pytest.mark.parametrize("data", [b"1e999999999 8N1", b"9600", b"\xff 8N1", b"9600 9Z9", b"9" * 10**6])
def test_a_setting_from_outside_that_none_can_make_is_told(trace: Path, data: bytes) -> None:
    with opened(trace) as database:
        database.execute("UPDATE input SET data = ? WHERE what = 'set'", (data,))
    with pytest.raises(UserError, match="cannot be played again"):
        replay(trace)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("ended_at", 2**62), ("ended_at", -1), ("ended_at", "soon"), ("complete", 7), ("seed", "one"), ("speed", 1e400),
        ("epoch", 0.5), ("plan_text", 5), ("hook", -1), ("schema", 0), ("schema", "2"), ("plan_files", b"{}"),
    ],
)  # fmt: skip
def test_a_head_with_a_value_out_of_bounds_is_damage(trace: Path, key: str, value: Any) -> None:
    with opened(trace) as database:
        database.execute("UPDATE head SET value = ? WHERE key = ?", (value, key))
    with pytest.raises(UserError, match="the trace is damaged"):
        open_trace(trace)


def test_a_camera_that_the_plan_does_not_have_is_damage(trace: Path) -> None:
    with opened(trace) as database:
        database.execute("UPDATE name SET name = 'nobody' WHERE kind = 'camera'")
    with pytest.raises(UserError, match="the trace is damaged"):
        compare(trace, trace)


@pytest.mark.timeout(60)
def test_a_trace_that_claims_to_have_run_for_a_year_is_not_played_for_one(trace: Path) -> None:
    with opened(trace) as database:
        database.execute("UPDATE head SET value = ? WHERE key = 'ended_at'", (365 * 86400 * 10**9,))
    assert replay(trace).difference is not None


@pytest.mark.timeout(30)
def test_pages_that_lead_to_the_same_rows_again_are_damage(tmp_path: Path) -> None:
    """SQLite database file format 1.6: an interior table page (0x05) holds a left child, 4 bytes, in each cell."""
    path = tmp_path / "t"
    writer = TraceWriter(str(path), {})
    writer.write(Batch([], [], [(MARK, n, "x" * 200) for n in range(2000)], [], 5000))
    writer.close()
    with opened(path) as database:
        (root,) = database.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'mark'").fetchone()
        (size,) = database.execute("PRAGMA page_size").fetchone()
    content = bytearray(path.read_bytes())
    page = (root - 1) * size
    assert content[page] == 0x05
    cells = struct.unpack_from(">H", content, page + 3)[0]
    first, *others = struct.unpack_from(f">{cells}H", content, page + 12)
    for other in others:
        content[page + other : page + other + 4] = content[page + first : page + first + 4]
    path.write_bytes(content)
    with open_trace(path) as circle, pytest.raises(UserError, match="the trace is damaged"):
        list(circle.records(MARK))


def test_a_small_file_takes_little_memory_whatever_it_claims(trace: Path) -> None:
    """A value names its length after its type; a limit keeps the reader from trusting it."""
    with opened(trace) as database:
        database.execute("DROP TABLE mark")
        database.execute("CREATE VIEW mark AS SELECT 1 AS n, 1 AS at, hex(zeroblob(900000000)) AS text")

    def little() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (1 << 30, 1 << 30))

    out = subprocess.run(
        [sys.executable, "-m", "busim", "replay", str(trace)], capture_output=True, text=True, timeout=60,
        preexec_fn=little, env={**os.environ, "COLUMNS": "1000"},  # a long path must not break the sentence
    )  # fmt: skip
    assert out.returncode == 2
    assert "the trace is damaged" in out.stderr
    assert "Traceback" not in out.stderr


def test_a_pipe_is_no_trace_and_nobody_waits_for_it(tmp_path: Path) -> None:
    import os

    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(UserError, match="not a trace"):
        open_trace(tmp_path / "pipe")


# -- a trace that is still written ------------------------------------------------------------------------------------


def test_an_open_trace_is_one_snapshot_though_its_run_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "t"
    writer = TraceWriter(str(path), {})
    writer.write(Batch([], [], [(MARK, n, "") for n in range(10)], [], None))
    with open_trace(path) as trace:
        rows = trace.records(MARK)
        assert next(rows)[1] == 0
        writer.write(Batch([], [], [(MARK, n, "") for n in range(10, 20)], [], 50))
        assert [row[1] for row in trace.records(MARK)] == list(range(10))
        assert "ended_at" not in trace.head
    with open_trace(path) as trace:
        assert sum(1 for _ in trace.records(MARK)) == 20
    writer.close()


# -- files beside the plan --------------------------------------------------------------------------------------------


@pytest.fixture
def short() -> Iterator[Path]:
    """A folder whose path is short enough for a name in a plan."""
    with tempfile.TemporaryDirectory(prefix="t") as folder:
        yield Path(folder)


def test_a_plan_in_a_trace_reads_no_file_of_this_machine(trace: Path, short: Path) -> None:
    secret = short / "secret.yaml"
    secret.write_text("word: hidden\n")
    with opened(trace) as database:
        (text,) = database.execute("SELECT value FROM head WHERE key = 'plan_text'").fetchone()
        text = text.replace("{name: wall low, bus_id: 1,", f"{{name: wall low, model: {secret}, bus_id: 1,")
        assert str(secret) in text
        database.execute("UPDATE head SET value = ? WHERE key = 'plan_text'", (text,))
    with pytest.raises(UserError, match="not in the trace") as caught:
        replay(trace)
    assert "hidden" not in str(caught.value)


def test_only_files_in_use_go_into_a_trace(short: Path) -> None:
    tmp_path = short
    from test_own_camera import MODEL

    (tmp_path / "foreign.yaml").write_text(f"# hidden\n{MODEL}")
    folder = tmp_path / "plans"
    folder.mkdir()
    plan_path = folder / "plan.yaml"
    plan_path.write_text(
        hall().source + f"spares:\n  - {{name: reserve, model: {tmp_path / 'foreign.yaml'}}}\n", encoding="utf-8"
    )
    from busim.plan import read

    run = Run(read(plan_path), 1, trace=tmp_path / "t")
    run.finish()
    assert b"hidden" not in (tmp_path / "t").read_bytes()


@pytest.mark.parametrize("way", ["absolute", "upwards", "link"])
def test_a_file_from_elsewhere_does_not_go_into_a_trace(short: Path, way: str) -> None:
    tmp_path = short
    from test_own_camera import MODEL

    (tmp_path / "foreign.yaml").write_text(MODEL)
    folder = tmp_path / "plans"
    folder.mkdir()
    (folder / "link.yaml").symlink_to(tmp_path / "foreign.yaml")
    name = {"absolute": str(tmp_path / "foreign.yaml"), "upwards": "../foreign.yaml", "link": "link.yaml"}[way]
    text = hall().source.replace("{name: wall low,", f"{{name: wall low, model: {name},")
    with pytest.raises(UserError, match="only files from the folder of the plan"):
        Run(read_text(text, str(folder / "plan.yaml")), 1, trace=tmp_path / "t")
    assert not (tmp_path / "t").exists()


# -- anything at all --------------------------------------------------------------------------------------------------

QUICK = settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
FLIPS = st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(1, 255)), min_size=1, max_size=6)
ODD = st.one_of(
    st.integers(-(2**63), 2**63 - 1), st.sampled_from([-1, 0, 1, 2, 7]), st.binary(max_size=40), st.text(max_size=20),
    st.sampled_from(["", "open", "bytes", "set", "power", "unit", "cut", "8N1", "poll", "ok", "line", "camera", "null",
                     "[]", "{}", "{\"a.yaml\": 5}", "value", "wrong", "\x1b]0;x\x07"]),
)  # fmt: skip
COLUMNS = [
    *((table, column.split()[0]) for table, (columns, _, _) in BESIDE.items() for column in columns),
    *((table, column) for table, columns, _ in TABLES.values() for column in ("n", *columns)),
]


def flipped(sound: Path, folder: Path, flips: list[tuple[float, int]]) -> None:
    path = folder / "t.trace"
    content = bytearray(sound.read_bytes())
    for place, bits in flips:
        content[int(place * len(content))] ^= bits
    path.write_bytes(content)
    with contextlib.suppress(UserError):
        use(path)


def altered(sound: Path, folder: Path, change: tuple[str, str], row: int, value: Any) -> None:
    path = Path(shutil.copy(sound, folder / "t.trace"))
    table, column = change
    with contextlib.suppress(sqlite3.Error), opened(path) as database:
        database.execute(
            f'UPDATE {table} SET "{column}" = ? WHERE rowid IN (SELECT rowid FROM {table} LIMIT 1 OFFSET ? % '
            f"(SELECT max(1, count(*)) FROM {table}))",
            (value, row),
        )
    with contextlib.suppress(UserError):
        use(path)


@QUICK
@given(flips=FLIPS)
def test_a_trace_with_flipped_bits_ends_in_a_user_error_or_works(
    sound: Path, tmp_path_factory: pytest.TempPathFactory, flips: list[tuple[float, int]]
) -> None:
    flipped(sound, tmp_path_factory.mktemp("flipped"), flips)


@QUICK
@given(change=st.sampled_from(COLUMNS), row=st.integers(0, 1000), value=ODD)
def test_a_trace_with_another_value_somewhere_ends_in_a_user_error_or_works(
    sound: Path, tmp_path_factory: pytest.TempPathFactory, change: tuple[str, str], row: int, value: Any
) -> None:
    altered(sound, tmp_path_factory.mktemp("altered"), change, row, value)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_many_traces_with_flipped_bits_and_other_values(sound: Path, tmp_path: Path) -> None:
    many = settings(QUICK, max_examples=5000)
    many(given(flips=FLIPS)(lambda flips: flipped(sound, tmp_path, flips)))()
    many(
        given(change=st.sampled_from(COLUMNS), row=st.integers(0, 1000), value=ODD)(
            lambda change, row, value: altered(sound, tmp_path, change, row, value)
        )
    )()


def test_the_command_says_so_with_exit_code_2(trace: Path) -> None:
    with opened(trace) as database:
        database.execute("UPDATE setting SET baud = 'fast'")
    for command in (("replay", str(trace)), ("compare", str(trace), str(trace)), ("export", str(trace), "--to", "vcd")):
        out = busim_here(*command)
        assert (out.returncode, "the trace is damaged" in out.stderr) == (2, True)

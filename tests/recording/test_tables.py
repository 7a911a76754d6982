"""Tables of a trace as CSV and Parquet, read by pandas and pyarrow; large traces in flat memory."""

from __future__ import annotations

import csv
import subprocess
import sys
from pathlib import Path

import pandas
import pyarrow.parquet
import pytest
from typer.testing import CliRunner

from busim.cli.app import app
from busim.foundation.errors import UserError
from busim.plan import read_text
from busim.recording.exports import FORMATS, TABLE_FORMATS, records_table, table_names, write_table
from busim.recording.trace import EXCHANGE, MARK, TraceWriter, open_trace
from busim.recording.trace.batches import Batch
from busim.runtime.session import Run, recorded_report

PLAN = """
busim: 1
name: wall
lines:
  - name: wall line
    baud: 38400 Bd
    format: 8E1
    protocol: modbus-rtu
    order: [terminator, converter: box, camera: "=left", camera: right, terminator]
converters: [{name: box, endpoint: "198.51.100.48:15001"}]
cameras: [{name: "=left", bus_id: 1}, {name: right, bus_id: 2}]
masters: [{name: controller, through: [box], groups: [{name: fast, values: [iris, gain], every: 50 ms}]}]
"""


@pytest.fixture(scope="module")
def trace(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("tables") / "wall.busim"
    run = Run(read_text(PLAN), 1, trace=path)
    run.advance(2_000_000_000)
    run.finish()
    return path


def exported(trace: Path, to: str, *more: str) -> Path:
    path = trace.with_name(f"out.{to}")
    command = ["export", str(trace), "--to", to, "-o", str(path), "--overwrite", *more]
    assert CliRunner().invoke(app, command, catch_exceptions=False).exit_code == 0
    return path


@pytest.mark.parametrize("table", table_names())
def test_csv_and_parquet_have_the_same_rows_of_every_table(table: str, trace: Path) -> None:
    frame = pyarrow.parquet.read_table(exported(trace, "parquet", "--table", table)).to_pandas()
    with exported(trace, "csv", "--table", table).open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(frame)
    for name in frame.columns:
        kept = [one.hex() if isinstance(one, bytes) else str(one) for one in frame[name]]
        assert [one[name].removeprefix("'") for one in rows] == kept


def test_pandas_reads_the_exchanges_with_names_and_times_to_the_nanosecond(trace: Path) -> None:
    frame = pandas.read_csv(exported(trace, "csv"))
    with open_trace(trace) as opened:
        records = list(opened.records(EXCHANGE))
    assert list(frame["sent"]) == [row[9] for row in records]
    assert set(frame["camera"]) == {"'=left", "right"}, "a spreadsheet computes nothing"
    assert set(frame["master"]) == {"controller"}
    one = pandas.read_csv(exported(trace, "csv", "--line", "wall line"))
    assert len(one) == len(frame)


def test_the_figures_in_a_table_are_those_of_the_report(trace: Path) -> None:
    frame = pandas.read_parquet(exported(trace, "parquet", "--table", "figures"))
    with open_trace(trace) as opened:
        line = recorded_report(opened).line("wall line")
    rate = frame[(frame["camera"] == "right") & (frame["figure"] == "poll_rate")]
    assert rate["value"].tolist() == [line.camera("right")["poll_rate"].value]
    assert rate["kind"].tolist() == ["measured"]
    assert len(frame) == len(line.figures) + sum(len(one.figures) for one in line.cameras)


@pytest.mark.parametrize(
    "options",
    [("csv", "--table", "no such"), ("csv", "--line", "no such"), ("csv", "--table", "mark", "--line", "wall line"),
     ("csv", "--at", "box"), ("pcapng", "--table", "burst"), ("xls",)],
)  # fmt: skip
def test_an_export_that_makes_no_sense_is_refused(options: tuple[str, ...], trace: Path) -> None:
    to, *more = options
    done = CliRunner().invoke(app, ["export", str(trace), "--to", to, "-o", str(trace.with_name("none")), *more])
    assert isinstance(done.exception, UserError)
    assert not trace.with_name("none").exists()


def test_every_format_has_a_name_of_its_own() -> None:
    assert not set(FORMATS) & set(TABLE_FORMATS)


def marks(path: Path, count: int) -> None:
    """A trace of many records."""
    writer = TraceWriter(str(path), {})
    for start in range(0, count, 50_000):
        rows = [(MARK, n, "a mark") for n in range(start, min(count, start + 50_000))]
        writer.write(Batch([], [], rows, [], None))
    writer.close()


def peak(path: Path, to: str) -> int:
    """Bytes of memory that an export in a process of its own needed at most."""
    program = (
        "import sys\n"
        "from busim.recording.exports import records_table, write_table\n"
        "from busim.recording.trace import open_trace\n"
        "with open_trace(sys.argv[1]) as trace:\n"
        "    write_table(trace, records_table(trace, 'mark'), sys.argv[2], sys.argv[1] + '.out', overwrite=True)\n"
        "(most,) = [line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM')]\n"
        "print(1024 * int(most))\n"
    )  # not ru_maxrss, which begins with the size of the process that started this one
    done = subprocess.run([sys.executable, "-c", program, path, to], capture_output=True, text=True, check=True)
    return int(done.stdout)


def test_a_hundred_thousand_records_are_never_held_together(tmp_path: Path) -> None:
    marks(tmp_path / "many.busim", 100_000)
    held, most = 0, 0

    class Counted(list[object]):
        def __init__(self, *of: object) -> None:
            nonlocal held, most
            super().__init__(*of)  # type: ignore[arg-type]
            held += 1
            most = max(most, held)

        def __del__(self) -> None:
            nonlocal held
            held -= 1

    with open_trace(tmp_path / "many.busim") as trace:
        table = records_table(trace, "mark")
        for to in TABLE_FORMATS:
            watched = table._replace(rows=map(Counted, records_table(trace, "mark").rows))
            write_table(trace, watched, to, tmp_path / f"many.{to}")
    assert 0 < most <= 40_001, "two batches of Parquet, one row of CSV"
    assert len(pandas.read_csv(tmp_path / "many.csv")) == 100_000
    assert pyarrow.parquet.read_metadata(tmp_path / "many.parquet").num_rows == 100_000


@pytest.mark.long
@pytest.mark.timeout(2400)
def test_ten_million_records_take_no_more_memory_than_a_hundred_thousand(tmp_path: Path) -> None:
    marks(tmp_path / "few.busim", 100_000)
    marks(tmp_path / "many.busim", 10_000_000)
    for to in TABLE_FORMATS:
        few, many = peak(tmp_path / "few.busim", to), peak(tmp_path / "many.busim", to)
        sys.stdout.write(f"{to}: {few / 1e6:.1f} MB for 100,000 records, {many / 1e6:.1f} for 10 million (measured)\n")
        assert many < few + (32 << 20)

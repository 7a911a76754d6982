"""A decoder reads from an exported VCD the characters that the trace records, at every station of a line.

The decoder is `ideal_uart`, written from the definition of a UART, and for what is not drawn at random sigrok's too.
"""

from __future__ import annotations

import subprocess
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from heard_levels import ended, said_to_be_heard
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from ideal_uart import Character, characters, wire

from busim.foundation.errors import UserError
from busim.plan import read_text
from busim.recording.exports import to_vcd
from busim.recording.trace import HEARD, PULSE, Trace, open_trace
from busim.runtime.session import Run

STATIONS = ("box", "one", "two", "three", "second")


def plan(case: dict[str, Any]) -> str:
    """A converter, three cameras (two of one bus ID) and a second master on 300 m of one pair."""
    drivers = [
        f"{{echo: {str(echo).lower()}, hold: {hold}}}" for echo, hold in zip(case["echo"], case["hold"], strict=True)
    ]
    return f"""\
busim: 1
name: drawn
lines:
  - name: pair
    baud: {case["baud"]} Bd
    format: {case["format"]}
    protocol: modbus-rtu
    contention: {case["contention"]}
    bit_error_rate: {case["errors"]}
    bias: {str(case["bias"]).lower()}
    chatter: {case["chatter"]} /s
    order:
      - converter: box
      - {{camera: one, after: 1 m}}
      - {{camera: two, after: {case["after"]} m}}
      - {{camera: three, after: 1 m}}
      - {{master: second, after: 100 m}}
converters:
  - {{name: box, endpoint: "198.51.100.7:4001", driver: {drivers[0]}}}
cameras:
  - {{name: one, bus_id: 1, driver: {drivers[1]}}}
  - {{name: two, bus_id: 2, driver: {drivers[2]}}}
  - {{name: three, bus_id: 1, turnaround: 2.4 ms, driver: {{format: {case["third"]}}}}}
masters:
  - name: controller
    through: [box]
    groups:
      - {{name: fast, values: [iris, gain], every: 0}}
  - name: second
    on: [pair]
    driver: {drivers[3]}
    groups:
      - {{name: all, values: [zoom], every: 7 ms}}
"""


cases = st.fixed_dictionaries(
    {
        "baud": st.sampled_from([9600, 38400, 115200]),
        "format": st.sampled_from(["8N1", "8E1"]),
        "third": st.sampled_from(["8N1", "8E1", "8O1"]),
        "contention": st.sampled_from(["space-wins", "random", "nearer-wins"]),
        "errors": st.sampled_from([0, 0.001]),
        "bias": st.booleans(),
        "chatter": st.sampled_from([0, 30]),
        "after": st.sampled_from([1, 200]),
        "echo": st.tuples(*[st.booleans()] * 4),
        "hold": st.tuples(*[st.sampled_from(["0", "0", "300 us"])] * 4),
        "cuts": st.lists(st.integers(0, 250_000_000), max_size=3),
    }
)
A_CASE = {
    "baud": 38400, "format": "8E1", "third": "8E1", "contention": "space-wins", "errors": 0.001, "bias": False,
    "chatter": 30, "after": 200, "echo": (True, False, False, False), "hold": ("0", "0", "0", "0"), "cuts": (),
}  # fmt: skip


def recorded(case: dict[str, Any], trace: Path, until: int = 300_000_000) -> Path:
    """At each instant of `cuts` every driver on the line loses its power for a moment."""
    run = Run(read_text(plan(case)), 3, trace=trace, overwrite=True)
    (line,) = run.world.lines.values()
    for instant in case["cuts"]:
        run.world.kernel.at(instant, lambda _: [line.cut_off(station) for station in line.stations])
    run.advance(until)
    run.finish()
    return trace


def decoded(trace: Trace, station: str, case: dict[str, Any], folder: Path) -> list[Character]:
    vcd = folder / f"{station}.vcd"
    to_vcd(trace, vcd, at=station, overwrite=True)
    form = case["third"] if station == "three" else case["format"]
    found = characters(*wire(vcd, f"{station}_rx"), Fraction(case["baud"]), form)
    return [one for one in found if one.at <= ended(trace)]


def compare(case: dict[str, Any], folder: Path) -> int:
    """Number of characters that were heard otherwise than sent."""
    char = 11e9 / case["baud"]
    with open_trace(recorded(case, folder / "t")) as trace:
        for station in STATIONS:
            read = [(one.value, one.flags) for one in decoded(trace, station, case, folder)]
            said = said_to_be_heard(trace, station, char)
            if len(said) == len(read) + 1 and out_of_step_at_the_end(trace, station, char):
                said.pop()  # it is in the middle of a character when the run ends: no record can say of which
            assert read == said, station
        return len(list(trace.records(HEARD)))


def out_of_step_at_the_end(trace: Trace, station: str, char: float) -> bool:
    """Whether a station heard otherwise than sent less than two characters (of `char` ns) before the end."""
    mine = next(number for number, name in trace.names.items() if name.name == station and name.kind != "line")
    return any(last > ended(trace) - 2 * char for _, _, who, _, last, _, _ in trace.records(HEARD) if who == mine)


@pytest.mark.parametrize("contention", ["space-wins", "random", "nearer-wins"])
def test_an_ideal_decoder_reads_what_every_station_is_said_to_have_heard(tmp_path: Path, contention: str) -> None:
    assert compare(A_CASE | {"contention": contention}, tmp_path) > 20


def test_it_does_so_where_drivers_lose_their_power_in_mid_character(tmp_path: Path) -> None:
    case = A_CASE | {"errors": 0, "chatter": 0, "cuts": [at * 7_310_000 for at in range(1, 40)]}
    assert compare(case, tmp_path) > 20


@pytest.mark.timeout(600)
@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
@given(cases)
@example(
    A_CASE
    | {
        "baud": 9600,
        "contention": "random",
        "third": "8N1",
        "bias": True,
        "echo": (False, True, True, True),
        "hold": ("0", "300 us", "300 us", "0"),
    }
)  # a station that waited for mark since the last stop bit, and then heard itself
@example(
    A_CASE | {"baud": 9600, "errors": 0, "chatter": 0, "after": 1, "echo": (False, False, False, False), "cuts": []}
)  # the run ends while a station reads a character out of step, and misses one that was sent meanwhile
@example(A_CASE | {"format": "8N1", "chatter": 0, "after": 1, "echo": (False, False, False, False), "cuts": [0]})
def test_it_does_so_on_any_line(tmp_path_factory: pytest.TempPathFactory, case: dict[str, Any]) -> None:
    compare(case, tmp_path_factory.mktemp("levels"))


@pytest.mark.long
@pytest.mark.timeout(3600)
@settings(max_examples=1500, deadline=None, suppress_health_check=list(HealthCheck))
@given(cases)
def test_it_does_so_on_many_lines(tmp_path_factory: pytest.TempPathFactory, case: dict[str, Any]) -> None:
    compare(case, tmp_path_factory.mktemp("levels"))


@pytest.mark.needs("sigrok-cli")
@pytest.mark.parametrize("contention", ["space-wins", "random", "nearer-wins"])
@pytest.mark.parametrize("station", ["box", "two", "second"])
def test_sigrok_reads_what_a_station_is_said_to_have_heard(tmp_path: Path, contention: str, station: str) -> None:
    case = A_CASE | {"contention": contention, "errors": 0, "chatter": 0, "bias": True}
    with open_trace(recorded(case, tmp_path / "t", 200_000_000)) as trace:
        ideal = decoded(trace, station, case, tmp_path)
        assert [(one.value, one.flags) for one in ideal] == said_to_be_heard(trace, station, 11e9 / case["baud"])
        assert sum(record[2] > 0 for record in trace.records(HEARD)) > 10
    decoder = f"uart:rx={station}_rx:baudrate={case['baud']}:parity=even"
    command = ["sigrok-cli", "-i", str(tmp_path / f"{station}.vcd"), "-I", "vcd:downsample=1000", "-P", decoder]
    done = subprocess.run([*command, "-A", "uart=rx-data"], check=True, capture_output=True, text=True)
    values = [int(line.partition(": ")[2], 16) for line in done.stdout.splitlines()]
    assert values == [one.value for one in ideal]


def test_a_line_that_was_cut_by_hand_is_refused(tmp_path: Path) -> None:
    run = Run(read_text(plan(A_CASE)), 3, trace=tmp_path / "t")
    run.advance(50_000_000)
    run.world.wiring.cut("pair", 2)
    run.advance(100_000_000)
    run.finish()
    with open_trace(tmp_path / "t") as trace, pytest.raises(UserError, match="the pair was cut during the run") as told:
        to_vcd(trace, tmp_path / "v")
    assert "cut at 0.050000 s" in str(told.value)
    assert not (tmp_path / "v").exists()


def test_a_trace_without_its_cables_is_refused_and_so_is_a_station_that_there_is_not(tmp_path: Path) -> None:
    trace = recorded(A_CASE, tmp_path / "t", 20_000_000)
    with open_trace(trace) as opened:
        with pytest.raises(UserError, match="no such station"):
            to_vcd(opened, tmp_path / "v", at="nobody")
        del opened.head["cables"]
        with pytest.raises(UserError, match="does not say where the stations"):
            to_vcd(opened, tmp_path / "v")
        opened.head["cables"] = '{"1": {"contention": "loudest"}}'
        with pytest.raises(UserError, match="the trace is damaged"):
            to_vcd(opened, tmp_path / "v")
    assert not (tmp_path / "v").exists()


def test_pulses_are_in_the_trace(tmp_path: Path) -> None:
    with open_trace(recorded(A_CASE, tmp_path / "t")) as trace:
        pulses = list(trace.records(PULSE))
    assert {record[4] for record in pulses} == {0, 1}
    assert all(record[2] < record[3] for record in pulses)

"""Exports, read by decoders that nobody here wrote: sigrok's UART decoder and tshark.

Traces are made by hand from literal bursts, so faults of line and export cannot hide each other.
"""

from __future__ import annotations

import json
import re
import subprocess
from collections.abc import Callable, Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.recording.exports import to_pcapng, to_vcd
from busim.recording.exports.levels import driver_states
from busim.recording.trace import BURST, HEARD, MARK, HeadValue, Record, Setting, TraceWriter, open_trace
from busim.recording.trace.batches import Batch

LINE, CONVERTER, CAMERA, SECOND, MASTER = 1, 2, 3, 4, 5
NAMES = [
    (LINE, "line", "wall", 0),
    (CONVERTER, "converter", "wall box", LINE),
    (CAMERA, "camera", "wall left", LINE),
    (SECOND, "camera", "wall right", LINE),
    (MASTER, "master", "second master", 0),
]

# MODBUS Application Protocol V1.1b3, 6.3 and 6.6 (PDU); CRC derived, MODBUS over Serial Line V1.02, p. 39-42
REQUEST, REPLY = bytes.fromhex("0103006B00037417"), bytes.fromhex("010306022B00000064057A")
WRITE = bytes.fromhex("010600010003980B")
# the same document, 6.12
WRITE_MANY, WRITTEN = bytes.fromhex("01100001000204000A01029230"), bytes.fromhex("0110000100021008")


def _setting(text: str, ppm: float = 0.0, inverted: int = 0, lead: int = 0, hold: int = 0) -> Setting:
    baud, form = text.split()
    return Setting(Fraction(baud), CharFormat.parse(form), ppm, bool(inverted), lead, hold)


def _trace(
    path: Path,
    kinds: Sequence[Setting],
    records: Sequence[Record],
    names: Sequence[tuple[int, str, str, int]] = NAMES,
    epoch: int = 0,
    **cable: Any,
) -> Path:
    """A trace whose setting n (from 1) is kinds[n - 1], with all stations at one place where `cable` says no other."""
    rows = [
        (number, str(kind.baud), str(kind.format), kind.ppm, int(kind.inverted), kind.lead, kind.hold)
        for number, kind in enumerate(kinds, 1)
    ]
    head: dict[str, HeadValue] = {"epoch": epoch, "cables": json.dumps(_cables(names, **cable))}
    writer = TraceWriter(str(path), head)
    writer.write(Batch(list(names), rows, list(records), [], None))
    writer.close()
    return path


def _cables(
    names: Sequence[tuple[int, str, str, int]], at: dict[int, int] | None = None, contention: str = "space-wins"
) -> dict[int, dict[str, Any]]:
    """Every line with the stations that belong to it, and with those masters that belong to none."""
    found = {}
    for line in (number for number, kind, _, _ in names if kind == "line"):
        stations = [
            [number, (at or {}).get(number, 0), 0, 0, 0]
            for number, kind, _, parent in names
            if parent == line or kind == "master"
        ]
        found[line] = {"contention": contention, "coin_key": 5, "stations": stations}
    return found


def _burst(
    kind: Setting, start: int, data: bytes, *, line: int = LINE, driver: int = CONVERTER, number: int = 1
) -> Record:
    halves = len(data) * kind.format.half_bits
    end = start + round(halves * 10**9 / (2 * kind.true_baud))
    return (BURST, line, driver, start, end, number, data, 0)


def _vcd(path: Path, trace: Path, line: str | None = None, at: str | None = None) -> Path:
    with open_trace(trace) as opened:
        to_vcd(opened, path, line, at=at)
    return path


def _edges(vcd: Path, wire: str = "wall_box") -> list[tuple[int, int]]:
    """(instant of the run, level) of each change of one wire of a file, its first value left out."""
    edges = []
    at = 0
    text = vcd.read_text()
    (code,) = re.findall(rf"\$var wire 1 (\S+) {wire} \$end", text)
    for word in text.partition("$enddefinitions $end")[2].split():
        if word.startswith("#"):
            at = int(word[1:])
        elif word[0] in "01" and word[1:] == code:
            edges.append((at - 1_000_000, int(word[0])))
    assert edges[0] == (-1_000_000, 1)
    return edges[1:]


_PARITY = {"N": "none", "E": "even", "O": "odd", "M": "one", "S": "zero"}


def _sigrok(vcd: Path, baud: int | str, form: str, wire: str = "wall_box", show: str = "rx-data") -> list[str]:
    """The output of sigrok's UART decoder: bytes in hex, with `show` its warnings."""
    decoder = f"uart:rx={wire}:baudrate={baud}:parity={_PARITY[form[1]]}:data_bits={form[0]}"
    command = ["sigrok-cli", "-i", str(vcd), "-I", "vcd:downsample=1000", "-P", decoder, "-A", f"uart={show}"]
    out = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return [line.partition(": ")[2] for line in out.splitlines()]


def _bytes(said: list[str]) -> bytes:
    return bytes(int(value, 16) for value in said)


# The levels of the pair


def test_a_character_has_the_levels_of_the_book(tmp_path: Path) -> None:
    # 1100 0101 has even parity 0: MODBUS over Serial Line V1.02, 2.6.1; 9600 Bd from a bit of 104 166.67 ns
    kind = _setting("9600 8E1")
    trace = _trace(tmp_path / "t", [kind], [_burst(kind, 1_000_000, b"\xc5")])
    slots = [(0, 0), (104_167, 1), (208_333, 0), (312_500, 1), (416_667, 0), (729_167, 1), (937_500, 0), (1_041_667, 1)]
    assert _edges(_vcd(tmp_path / "v", trace)) == [(1_000_000 + at, level) for at, level in slots]


def test_a_swapped_pair_shows_turned_levels_while_it_drives(tmp_path: Path) -> None:
    kind = _setting("10000 8N1", inverted=1)
    trace = _trace(tmp_path / "t", [kind], [_burst(kind, 0, b"\x0f")])
    # start bit is mark, four ones are space, four zeros mark, the stop bit space; then nobody drives
    assert _edges(_vcd(tmp_path / "v", trace)) == [(100_000, 0), (500_000, 1), (900_000, 0), (1_000_000, 1)]


def test_a_driver_that_comes_late_or_leaves_early_cuts_its_bits(tmp_path: Path) -> None:
    kind = _setting("10000 8N1", lead=-30_000, hold=-250_000)
    trace = _trace(tmp_path / "t", [kind], [_burst(kind, 0, b"\x00")])
    assert _edges(_vcd(tmp_path / "v", trace)) == [(30_000, 0), (750_000, 1)]


def test_instants_do_not_drift_over_a_long_burst(tmp_path: Path) -> None:
    kind = _setting("115200 8N1")
    trace = _trace(tmp_path / "t", [kind], [_burst(kind, 0, bytes(4000))])
    # the last stop bit begins at bit 39 999 of 8 680.5556 ns
    assert _edges(_vcd(tmp_path / "v", trace))[-1] == (347_213_542, 1)


_KIND = st.builds(
    _setting,
    st.sampled_from(["9600 8N1", "38400 7E1.5", "19200 8O2", "250000 5S1"]),
    st.sampled_from([0.0, 150.0, -20_000.0]),
    st.integers(0, 1),
    st.integers(-300_000, 1000),
    st.integers(-300_000, 1000),
)


@given(st.lists(st.tuples(_KIND, st.integers(0, 2_000_000), st.binary(min_size=1, max_size=3)), min_size=1, max_size=6))
@settings(max_examples=100, deadline=None)
def test_space_wins_wherever_drivers_overlap(
    tmp_path_factory: pytest.TempPathFactory, sent: list[tuple[Setting, int, bytes]]
) -> None:
    bursts = [_burst(kind, start, data, driver=10 + n, number=n) for n, (kind, start, data) in enumerate(sent, 1)]
    names = [*NAMES, *((10 + n, "camera", f"camera {n}", LINE) for n in range(1, len(sent) + 1))]
    path = _trace(tmp_path_factory.mktemp("levels") / "t", [kind for kind, _, _ in sent], bursts, names)
    pulled = [
        (since, until)
        for (kind, _, data), (_, _, _, start, end, *_) in zip(sent, bursts, strict=True)
        for (since, state), (until, _) in pairwise(driver_states(kind, start, end, data))
        if state == 0
    ]
    instants = sorted({at for piece in pulled for at in piece})
    expected = []
    level = 1
    for at in instants:
        if level != (after := int(not any(low <= at < high for low, high in pulled))):
            expected.append((at, after))
            level = after
    assert _edges(_vcd(path.with_suffix(".vcd"), path)) == expected


# sigrok's UART decoder


@pytest.mark.needs("sigrok-cli")
@pytest.mark.parametrize("baud", [9600, 38400, 115200, 250000])
@pytest.mark.parametrize("form", ["8N1", "8E1", "7E1", "8O1", "8N2", "7M1", "8S1", "5N1.5"])
def test_sigrok_reads_every_value_at_every_setting(tmp_path: Path, baud: int, form: str) -> None:
    kind = _setting(f"{baud} {form}")
    values = bytes(range(2**kind.format.data_bits))
    first = _burst(kind, 1003, values)
    trace = _trace(tmp_path / "t", [kind], [first, _burst(kind, first[4] + 777_777, values[::-1], driver=CAMERA)])
    vcd = _vcd(tmp_path / "v", trace)
    assert _bytes(_sigrok(vcd, baud, form)) == values + values[::-1]
    assert _sigrok(vcd, baud, form, show="rx-warnings:rx-parity-err") == []


@pytest.mark.needs("sigrok-cli")
@pytest.mark.parametrize("ppm", [-20_000.0, 20_000.0])
def test_sigrok_reads_a_sender_whose_clock_is_2_percent_off(tmp_path: Path, ppm: float) -> None:
    # Analog Devices / Maxim tutorial 2141: 2 % is inside the budget of any link
    kind = _setting("19200 8E1", ppm)
    trace = _trace(tmp_path / "t", [kind], [_burst(kind, 500, bytes(range(256)))])
    assert _bytes(_sigrok(_vcd(tmp_path / "v", trace), 19200, "8E1")) == bytes(range(256))


@pytest.mark.needs("sigrok-cli")
def test_sigrok_reads_an_exchange_on_each_of_two_lines(tmp_path: Path) -> None:
    slow, fast = _setting("9600 8N1"), _setting("250000 8E1")
    records = [
        _burst(slow, 0, REQUEST),
        _burst(fast, 100_000, WRITE_MANY, line=6, driver=7, number=2),
        _burst(fast, 2_000_000, WRITTEN, line=6, driver=7, number=2),
        _burst(slow, 14_000_000, REPLY, driver=CAMERA),
    ]
    names = [*NAMES, (6, "line", "4 lanes: fast!", 0), (7, "camera", "lane one", 6)]
    trace = _trace(tmp_path / "t", [slow, fast], records, names)
    vcd = _vcd(tmp_path / "v", trace)
    assert _bytes(_sigrok(vcd, 9600, "8N1")) == REQUEST + REPLY
    assert _bytes(_sigrok(vcd, 250000, "8E1", wire="second_master")) == WRITE_MANY + WRITTEN
    alone = _vcd(tmp_path / "w", trace, "wall")
    assert _bytes(_sigrok(alone, 9600, "8N1")) == REQUEST + REPLY
    assert "lanes" not in alone.read_text()


@pytest.mark.needs("sigrok-cli")
def test_sigrok_reports_the_parity_of_a_sender_set_otherwise(tmp_path: Path) -> None:
    even, odd = _setting("38400 8E1"), _setting("38400 8O1")
    records = [_burst(even, 0, REQUEST), _burst(odd, 5_000_000, REPLY, driver=CAMERA, number=2)]
    vcd = _vcd(tmp_path / "v", _trace(tmp_path / "t", [even, odd], records))
    assert _bytes(_sigrok(vcd, 38400, "8E1")) == REQUEST + REPLY
    assert len(_sigrok(vcd, 38400, "8E1", show="rx-parity-err")) == len(REPLY)
    assert len(_sigrok(vcd, 38400, "8O1", show="rx-parity-err")) == len(REQUEST)


@pytest.mark.needs("sigrok-cli")
def test_sigrok_reports_a_single_flipped_bit(tmp_path: Path) -> None:
    # another driver, released after its start bit, pulls bit 2 of the second character to space
    kind = _setting("10000 8E1")
    spike = kind._replace(hold=-1_000_000)
    records = [_burst(kind, 0, b"\x55\xff\x55"), _burst(spike, 1_100_000 + 300_000, b"\x00", driver=MASTER, number=2)]
    vcd = _vcd(tmp_path / "v", _trace(tmp_path / "t", [kind, spike], records))
    assert _bytes(_sigrok(vcd, 10000, "8E1")) == b"\x55\xfb\x55"
    assert len(_sigrok(vcd, 10000, "8E1", show="rx-parity-err")) == 1


@pytest.mark.needs("sigrok-cli")
@pytest.mark.parametrize(
    ("skew", "read", "warnings"), [(0.0, 0x11, 0), (0.45, 0x11, 0), (0.55, 0x44, 1), (1.0, 0x44, 1), (1.4, 0x44, 1)]
)
def test_sigrok_reads_a_collision_as_the_wire_shows_it(tmp_path: Path, skew: float, read: int, warnings: int) -> None:
    # 8N1, space wins, 55 sent first, 33 later by the skew: derived from the wired AND of both characters
    kind = _setting("9600 8N1")
    late = 1_000_000 + round(skew * 10**9 / 9600)
    records = [_burst(kind, 1_000_000, b"\x55"), _burst(kind, late, b"\x33", driver=MASTER)]
    vcd = _vcd(tmp_path / "v", _trace(tmp_path / "t", [kind], records))
    assert _bytes(_sigrok(vcd, 9600, "8N1"))[0] == read
    assert _sigrok(vcd, 9600, "8N1", show="rx-warnings")[:1] == ["Frame error"] * warnings


# tshark


def _pcapng(path: Path, trace: Path, line: str | None = None) -> Path:
    with open_trace(trace) as opened:
        to_pcapng(opened, path, line)
    return path


def _read(capture: Path, *options: str) -> str:
    command = ["tshark", "-r", str(capture), "-d", "rtacser.data,mbrtu", "-o", "mbrtu.crc_verification:TRUE", *options]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def _tshark(capture: Path, *fields: str) -> list[list[str]]:
    shown = [word for field in fields for word in ("-e", field)]
    return [line.split("\t") for line in _read(capture, "-T", "fields", *shown).splitlines()]


def _verbose(capture: Path) -> str:
    return _read(capture, "-V")


EPOCH = 1_700_000_000 * 10**9


@pytest.mark.needs("tshark")
def test_tshark_dissects_the_frames_and_finds_every_check_right(tmp_path: Path) -> None:
    kind = _setting("19200 8E1")
    frames = [(REQUEST, CONVERTER), (REPLY, CAMERA), (WRITE, CONVERTER), (WRITE, CAMERA), (WRITE_MANY, CONVERTER)]
    frames.append((WRITTEN, CAMERA))
    records = [_burst(kind, 123 + n * 20_000_000, data, driver=driver) for n, (data, driver) in enumerate(frames)]
    capture = _pcapng(tmp_path / "p", _trace(tmp_path / "t", [kind], records, epoch=EPOCH))
    asked = "frame.interface_name", "frame.time_epoch", "rtacser.eventtype", "mbrtu.unit_id", "modbus.func_code"
    said = _tshark(capture, *asked)
    assert [(row[0], row[2], row[3]) for row in said] == [
        ("wall", "0x02" if driver == CAMERA else "0x01", "1") for _, driver in frames
    ]
    assert [row[1] for row in said] == [f"{1_700_000_000 + n * 20 // 1000}.{n * 20:03}000123" for n in range(6)]
    assert [row[4] for row in said] == ["3", "3", "6", "6", "16", "16"]
    text = _verbose(capture)
    assert len(re.findall(r"CRC-16: 0x[0-9a-f]{4} \[correct\]", text)) == 6
    assert "Register 107 (UINT16): 555" in text  # V1.1b3, 6.3: registers 108-110 hold 555, 0, 100


@pytest.mark.needs("tshark")
def test_tshark_reports_a_frame_the_converter_heard_otherwise(tmp_path: Path) -> None:
    kind = _setting("19200 8E1")
    request, reply = _burst(kind, 0, REQUEST), _burst(kind, 20_000_000, REPLY, driver=CAMERA)
    damaged = REPLY[:3] + b"\x06" + REPLY[4:]
    heard = (HEARD, LINE, CONVERTER, reply[3] + 546_875, reply[4] - 26_042, damaged, bytes(3) + b"\x02" + bytes(7))
    elsewhere = (HEARD, LINE, SECOND, reply[3] + 546_875, reply[4] - 26_042, b"\x00", b"\x01")
    again = _burst(kind, 40_000_000, REQUEST)
    capture = _pcapng(tmp_path / "p", _trace(tmp_path / "t", [kind], [request, reply, heard, elsewhere, again]))
    said = _tshark(capture, "frame.len", "mbrtu.crc16.status", "frame.comment")
    assert [row[:2] for row in said] == [["20", "1"], ["23", "0"], ["20", "1"]]
    assert said[1][2] == "heard otherwise than sent; sent 01 03 06 02 2b 00 00 00 64 05 7a"
    assert _verbose(capture).count("Incorrect CRC [should be 0x04fe]") == 2  # said twice of the one frame


@pytest.mark.needs("tshark")
def test_colliding_bursts_are_the_one_packet_that_was_heard(tmp_path: Path) -> None:
    kind = _setting("19200 8E1")
    one, two = _burst(kind, 0, REPLY, driver=CAMERA), _burst(kind, 300_000, REPLY, driver=SECOND)
    heard = (HEARD, LINE, CONVERTER, 546_875, two[4] - 26_042, b"\x01\x02\x04" * 4, bytes(12))
    capture = _pcapng(tmp_path / "p", _trace(tmp_path / "t", [kind], [one, two, heard, _burst(kind, 10**8, REQUEST)]))
    assert _tshark(capture, "frame.len", "mbrtu.crc16.status") == [["24", "0"], ["20", "1"]]


@pytest.mark.needs("tshark")
def test_a_burst_the_converter_did_not_hear_at_all_is_a_packet_without_data(tmp_path: Path) -> None:
    kind = _setting("19200 8E1")
    reply = _burst(kind, 20_000_000, REPLY, driver=CAMERA)
    heard = (HEARD, LINE, CONVERTER, reply[3], reply[4], b"", b"")
    capture = _pcapng(tmp_path / "p", _trace(tmp_path / "t", [kind], [_burst(kind, 0, REQUEST), reply, heard]))
    said = _tshark(capture, "frame.len", "mbrtu.crc16.status", "frame.comment")
    assert said == [["20", "1", ""], ["12", "", f"heard otherwise than sent; sent {REPLY.hex(' ')}"]]


@pytest.mark.needs("tshark")
@pytest.mark.parametrize("echo", [False, True])
def test_a_stretch_heard_over_several_bursts_is_cut_where_it_agrees(tmp_path: Path, echo: bool) -> None:
    kind = _setting("19200 8E1")
    bad = REPLY[:-1] + b"\x7b"
    sent = [(REQUEST, CONVERTER), (REPLY, CAMERA), (REQUEST, CONVERTER), (REPLY, CAMERA), (WRITE, CAMERA)]
    bursts = [_burst(kind, n * 20_000_000, data, driver=driver) for n, (data, driver) in enumerate(sent)]
    data = REQUEST + bad + REQUEST + REPLY + WRITE if echo else bad + REPLY + WRITE
    first = 546_875 if echo else 20_546_875
    heard = (HEARD, LINE, CONVERTER, first, bursts[-1][4] - 26_042, data, bytes(len(data)))
    capture = _pcapng(tmp_path / "p", _trace(tmp_path / "t", [kind], [*bursts, heard]))
    assert [row[0] for row in _tshark(capture, "mbrtu.crc16.status")] == ["1", "0", "1", "1", "1"]


@pytest.mark.needs("tshark")
def test_a_master_on_the_line_captures_where_there_is_no_converter(tmp_path: Path) -> None:
    kind = _setting("19200 8E1")
    names = [name for name in NAMES if name[1] != "converter"]
    request, reply = _burst(kind, 0, REQUEST, driver=MASTER), _burst(kind, 20_000_000, REPLY, driver=CAMERA)
    heard = (HEARD, LINE, MASTER, 20_546_875, reply[4] - 26_042, REPLY[:-1] + b"\x00", bytes(11))
    capture = _pcapng(tmp_path / "p", _trace(tmp_path / "t", [kind], [request, reply, heard], names))
    said = _tshark(capture, "rtacser.eventtype", "mbrtu.crc16.status")
    assert said == [["0x01", "1"], ["0x02", "0"]]


@pytest.mark.needs("tshark")
def test_lines_are_interfaces_in_one_order_of_time_and_marks_are_comments(tmp_path: Path) -> None:
    kind = _setting("19200 8E1")
    records = [
        _burst(kind, 30_000_000, REPLY, driver=CAMERA),
        _burst(kind, 10_000_000, REQUEST),
        _burst(kind, 20_000_000, WRITE, line=6, driver=7),
        (MARK, 25_000_000, "Übung begins"),
    ]
    names = [*NAMES, (6, "line", "mats", 0), (7, "converter", "mat box", 6)]
    trace = _trace(tmp_path / "t", [kind], records, names)
    said = _tshark(_pcapng(tmp_path / "p", trace), "frame.interface_name", "rtacser.eventtype", "frame.comment")
    assert said == [["wall", "0x01", ""], ["mats", "0x01", ""], ["wall", "0x00", "Übung begins"], ["wall", "0x02", ""]]
    assert len(_tshark(_pcapng(tmp_path / "q", trace, "mats"), "frame.number")) == 2  # its frame and the mark


# Asking for what cannot be


@pytest.mark.parametrize("export", [to_vcd, to_pcapng])
def test_an_export_tells_what_is_wrong(tmp_path: Path, export: Callable[..., None]) -> None:
    kind = _setting("9600 8N1")
    with open_trace(_trace(tmp_path / "t", [kind], [_burst(kind, 0, b"\x55")])) as trace:
        with pytest.raises(UserError, match="no such line; found 'roof'; expected wall"):
            export(trace, tmp_path / "out", "roof")
        with pytest.raises(UserError, match="cannot be written"):
            export(trace, tmp_path / "none" / "out")
        (tmp_path / "plan.yaml").write_text("name: hall")
        with pytest.raises(UserError, match="a file is there already"):
            export(trace, tmp_path / "plan.yaml")
        assert (tmp_path / "plan.yaml").read_text() == "name: hall"
        export(trace, tmp_path / "plan.yaml", overwrite=True)
        assert (tmp_path / "plan.yaml").stat().st_size > 100


@pytest.mark.parametrize("export", [to_vcd, to_pcapng])
def test_the_same_trace_exports_to_the_same_bytes(tmp_path: Path, export: Callable[..., None]) -> None:
    kind = _setting("9600 8N1")
    with open_trace(_trace(tmp_path / "t", [kind], [_burst(kind, 0, b"\x55")])) as trace:
        export(trace, tmp_path / "a")
        export(trace, tmp_path / "b")
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()

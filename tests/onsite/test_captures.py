"""Captures of other tools: what tshark, editcap and text2pcap write is read; what is damaged says where."""

from __future__ import annotations

import io
import itertools
import struct
import subprocess
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from serving import read_frame, value_frame, wall
from test_listening import recorded

from busim.foundation.errors import UserError
from busim.onsite.captures import BOTH, FROM_LINE, TO_LINE, Piece, open_capture
from busim.onsite.captures.blocks import Captured, pcapng_packets
from busim.onsite.captures.csv_bytes import csv_pieces
from busim.onsite.captures.packets import Unwrapping
from busim.recording.exports import records_table, to_pcapng, write_table
from busim.recording.trace import open_trace

MS = 1_000_000
ETHERNET = 1
SYN, ACK, FIN = 2, 16, 1


def read(path: Path, **how: int) -> list[Piece]:
    with open_capture(str(path), **how) as capture:  # type: ignore[arg-type]
        return list(capture)


def exported(folder: Path) -> tuple[Path, list[Piece]]:
    """A capture that busim wrote, and the pieces of the trace that it came from."""
    trace = recorded(folder / "wall.busim", wall(), seconds=0.5)
    with open_trace(trace) as opened:
        to_pcapng(opened, folder / "wall.pcapng")
    return folder / "wall.pcapng", read(trace)


def run(*command: str | Path) -> None:
    subprocess.run([str(one) for one in command], check=True, capture_output=True, timeout=60)


def segment(at: int, number: int, data: bytes, flags: int = ACK, *, back: bool = False) -> Captured:
    """An Ethernet frame with IPv4 and TCP (RFC 791, RFC 9293), from 192.0.2.1:50000 to 192.0.2.2:4001, or back."""
    ends = [bytes((192, 0, 2, 1)), bytes((192, 0, 2, 2))]
    ports = [50000, 4001]
    if back:
        ends.reverse()
        ports.reverse()
    tcp = struct.pack(">HHIIBBHHH", *ports, number & 0xFFFFFFFF, 0, 5 << 4, flags, 8192, 0, 0) + data
    ip = struct.pack(">BBHHHBBH", 0x45, 0, 20 + len(tcp), 0, 0, 64, 6, 0) + b"".join(ends)
    return Captured(at, ETHERNET, bytes(12) + b"\x08\x00" + ip + tcp)


def unwrapped(packets: Iterable[Captured], port: int | None = None) -> tuple[bytes, bytes, Unwrapping]:
    """The bytes to the line and those from it (or of unknown way)."""
    unwrapping = Unwrapping(port)
    pieces = list(unwrapping.pieces(packets))
    there = b"".join(piece.data for piece in pieces if piece.way == TO_LINE)
    return there, b"".join(piece.data for piece in pieces if piece.way != TO_LINE), unwrapping


# -- other tools --------------------------------------------------------------------------------------------


def test_what_busim_exports_is_read_back(tmp_path: Path) -> None:
    capture, pieces = exported(tmp_path)
    back = read(capture)
    assert [(one.way, one.data) for one in back] == [(one.way, one.data) for one in pieces]


@pytest.mark.needs("tshark")
def test_what_tshark_and_editcap_write_is_read(tmp_path: Path) -> None:
    capture, pieces = exported(tmp_path)
    wanted = [(one.way, one.data) for one in pieces]
    run("tshark", "-r", capture, "-w", tmp_path / "again.pcapng")
    for form in ("pcapng", "pcap", "nsecpcap"):
        run("editcap", "-F", form, capture, tmp_path / f"other.{form}")
        assert [(one.way, one.data) for one in read(tmp_path / f"other.{form}")] == wanted
    assert [(one.way, one.data) for one in read(tmp_path / "again.pcapng")] == wanted


@pytest.mark.needs("tshark")
def test_a_tcp_capture_of_text2pcap_is_read_with_its_times(tmp_path: Path) -> None:
    frames = [("O", read_frame(1, 3)), ("I", value_frame(1, 700)), ("O", read_frame(2, 3)), ("I", value_frame(2, 1))]
    lines = [f"{way} 10:00:0{n}.250000\n0000 {data.hex(' ')}\n" for n, (way, data) in enumerate(frames)]
    (tmp_path / "hex.txt").write_text("\n".join(lines))
    run("text2pcap", "-q", "-D", "-t", "%H:%M:%S.%f", "-T", "50000,4001", tmp_path / "hex.txt", tmp_path / "tcp.pcapng")
    back = read(tmp_path / "tcp.pcapng")
    assert [(one.at, one.data) for one in back] == [(n * 1000 * MS, data) for n, (_, data) in enumerate(frames)]


# -- TCP ----------------------------------------------------------------------------------------------------


@given(st.permutations(range(6)), st.sets(st.integers(0, 5)), st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_segments_out_of_order_and_twice_give_the_bytes_once_and_in_order(
    order: list[int], twice: set[int], first: int
) -> None:
    data = bytes(range(60))
    parts = [segment(n, first + 1 + 10 * n, data[10 * n : 10 * n + 10]) for n in range(6)]
    packets = [parts[n] for n in order] + [parts[n] for n in sorted(twice)]
    there, _, unwrapping = unwrapped([segment(0, first, b"", SYN), *packets])
    assert there == data
    assert unwrapping.holes == 0


def test_a_segment_sent_again_with_more_adds_only_what_is_new() -> None:
    there, _, _ = unwrapped(
        [segment(0, 0, b"", SYN), segment(1, 1, b"abc"), segment(2, 1, b"abcdef"), segment(3, 2, b"bc")]
    )
    assert there == b"abcdef"


def test_the_end_that_sent_syn_is_the_controller_and_a_named_port_is_the_box() -> None:
    began = [segment(0, 0, b"", SYN), segment(1, 0, b"", SYN | ACK, back=True)]
    talk = [segment(2, 1, b"ask"), segment(3, 1, b"reply", back=True)]
    assert unwrapped([*began, *talk])[:2] == (b"ask", b"reply")
    assert unwrapped(talk)[:2] == (b"", b"askreply")  # the capture began later
    assert unwrapped(talk, port=4001)[:2] == (b"ask", b"reply")
    assert unwrapped(talk, port=9999)[2].skipped == 2


def test_a_hole_that_stays_is_given_up_and_counted() -> None:
    late = [segment(n, 100 + 10 * n, bytes(10)) for n in range(80)]
    there, _, unwrapping = unwrapped([segment(0, 0, b"", SYN), segment(1, 1, b"abc"), *late])
    assert there == b"abc" + bytes(800)
    assert unwrapping.holes == 1


@given(st.binary(max_size=80), st.sampled_from([0, 1, 101, 113, 250, 276, 9999]))
@settings(max_examples=60, deadline=None)
def test_a_packet_of_any_bytes_is_skipped_or_read(data: bytes, link: int) -> None:
    list(Unwrapping().pieces([Captured(0, link, data), Captured(1, 1, bytes(12) + b"\x08\x00" + data)]))


# -- damaged, endless ---------------------------------------------------------------------------------------


@given(st.integers(0, 10_000), st.lists(st.tuples(st.integers(0, 3000), st.integers(0, 255)), max_size=4))
@settings(max_examples=60, deadline=None)
def test_a_damaged_or_cut_capture_gives_pieces_or_says_what_is_wrong(
    tmp_path_factory: pytest.TempPathFactory, cut: int, changes: list[tuple[int, int]]
) -> None:
    folder = tmp_path_factory.getbasetemp() / "captures"
    folder.mkdir(exist_ok=True)
    good = folder / "wall.pcapng"
    if not good.exists():
        exported(folder)
    data = bytearray(good.read_bytes())
    for place, value in changes:
        data[place % len(data)] = value
    path = folder / "bad.pcapng"
    path.write_bytes(data[: max(0, len(data) - cut)])
    with suppress(UserError):
        read(path)
    data = path.read_bytes()
    assert packets_of(io.BytesIO(data)) == packets_of(Dribble(data)), "the pieces in which a file comes change nothing"


class Dribble(io.BytesIO):
    """A pipe that gives five bytes at a time, so no block lies in them as a whole."""

    def read1(self, count: int | None = -1, /) -> bytes:
        return super().read1(min(count or 0, 5))


def packets_of(file: io.BytesIO) -> tuple[list[Captured], list[str], str]:
    """The packets, the notes and the error of a capture that begins as pcapng does, or does not."""
    found, notes, said = list[Captured](), list[str](), ""
    try:
        found.extend(pcapng_packets(file, "x", b"", notes))
    except UserError as error:
        said = str(error)
    return found, notes, said


def test_a_capture_that_is_cut_off_says_so_and_gives_what_there_is(tmp_path: Path) -> None:
    good, _ = exported(tmp_path)
    data, cut = good.read_bytes(), tmp_path / "cut.pcapng"
    with open_capture(str(good)) as capture:
        whole = list(capture)
        assert not any("cut off" in note for note in capture.notes)
    for missing in (1, 4, 30):
        cut.write_bytes(data[:-missing])
        with open_capture(str(cut)) as capture:
            there = list(capture)
            assert any("cut off near byte" in note for note in capture.notes)
        assert there == whole[: len(there)]
        assert there


def test_the_table_of_bursts_that_busim_exports_is_read_as_its_trace_is(tmp_path: Path) -> None:
    trace = recorded(tmp_path / "wall.busim", wall(), seconds=1)
    with open_trace(trace) as opened:
        write_table(opened, records_table(opened, "burst"), "csv", tmp_path / "burst.csv")
    with open_capture(str(trace)) as capture:
        wanted = [piece._replace(way=BOTH) for piece in capture]
    assert read(tmp_path / "burst.csv") == wanted
    (tmp_path / "burst.csv").write_text((tmp_path / "burst.csv").read_text() + "other,x,1,2,1,00,1\n")
    with pytest.raises(UserError, match="which line"):
        read(tmp_path / "burst.csv")
    with open_capture(str(tmp_path / "burst.csv"), line="other") as capture:
        assert [piece.data for piece in capture] == [b"\0"]


def test_a_time_that_cannot_be_is_refused(tmp_path: Path) -> None:
    (tmp_path / "far.csv").write_text("time,data\n0,00\n1e30,01\n")
    with pytest.raises(UserError, match="a time of the capture cannot be"):
        read(tmp_path / "far.csv")


def test_bytes_that_are_no_text_are_no_csv_either(tmp_path: Path) -> None:
    for content in (bytes(range(1, 256)), b"time,data\x1b[2J\n0,01\n"):
        (tmp_path / "file").write_bytes(content)
        with pytest.raises(UserError, match="this is no capture"), open_capture(str(tmp_path / "file")) as capture:
            list(capture)


class Endless(io.RawIOBase):
    """A capture that never ends."""

    def __init__(self, start: bytes, block: bytes) -> None:
        self._start, self._block = start, block

    def read(self, count: int = -1) -> bytes:
        assert 0 <= count <= 1 << 20, "a reader of a stream never asks for all of it"
        data = self._start or self._block
        piece, rest = data[:count], data[count:]
        self._start = rest
        return piece


def test_an_endless_capture_is_read_as_it_comes(tmp_path: Path) -> None:
    capture, _ = exported(tmp_path)
    data = capture.read_bytes()
    head = struct.unpack_from("<I", data, 4)[0]
    head += struct.unpack_from("<I", data, head + 4)[0]  # section and interface
    size = struct.unpack_from("<I", data, head + 4)[0]
    endless = Endless(data[:head], data[head : head + size])
    packets = list(itertools.islice(pcapng_packets(endless, "-", b"", []), 20_000))  # type: ignore[arg-type]
    assert len({packet.data for packet in packets}) == 1


@pytest.mark.parametrize("content", [b"", b"\0\1\2", b"no such thing", b"a,b\n1,2\n"])
def test_a_file_that_is_no_capture_is_refused(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "it").write_bytes(content)
    with pytest.raises(UserError) as error:
        read(tmp_path / "it")
    assert error.value.file == str(tmp_path / "it")


# -- CSV ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "time,data,direction\n0.001,01 03,tx\n0.0025,02 ff,rx\n",
        "\ufefftime_ns;hex;dir\n1000000;0103;O\n2500000;02FF;I\n",
        'Time (ms)\tBytes\tWay\n1\t"0x01 0x03"\t>\n\n2.5\t02-ff\t<\n',
        "timestamp_us,payload,event\r\n1000,01:03,write\r\n2500,02:ff,read\r\n",
    ],
)
def test_csv_of_other_tools_is_read_by_its_column_names(text: str, tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text(text, encoding="utf-8", newline="")
    assert read(tmp_path / "log.csv") == [Piece(0, TO_LINE, b"\x01\x03"), Piece(1_500_000, FROM_LINE, b"\x02\xff")]


def test_csv_without_directions_leaves_the_ways_open() -> None:
    assert [one.way for one in csv_pieces(io.StringIO("time,data\n0,01\n"), "log.csv")] == [BOTH]


@pytest.mark.parametrize("row", ["soon,01", "0.1,0", "0.1,xy", "0.1", "nan,01", "inf,01"])
def test_a_row_of_csv_that_cannot_be_read_is_named_by_its_line(row: str) -> None:
    with pytest.raises(UserError) as error:
        list(csv_pieces(io.StringIO(f"time,data\n0,01\n{row}\n"), "log.csv"))
    assert (error.value.file, error.value.line) == ("log.csv", 3)


def test_a_row_of_csv_without_end_is_refused() -> None:
    with pytest.raises(UserError, match="too long"):
        list(csv_pieces(io.StringIO("time,data\n0," + "0" * (1 << 21)), "log.csv"))


def test_times_that_go_back_are_told(tmp_path: Path) -> None:
    path = tmp_path / "back.csv"
    path.write_text("time,data\n5,01\n1,02\n-3,03\n6,04\n")
    with open_capture(str(path)) as capture:
        assert [piece.at for piece in capture] == [0, 0, 0, 10**9]
        assert capture.notes == ["2 times go back: their bytes are taken to have come with those before them"]

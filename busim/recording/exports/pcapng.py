"""The line as a pcapng capture with link type 250 (LINKTYPE_RTAC_SERIAL), for tshark and Wireshark.

One interface per line, one packet per burst, as the converter of the line (or without one its master) could have
captured it: bytes to the cameras are "TX", bytes from a camera "RX". If this station heard other characters than were
sent, after a collision or with another setting, the packet has those it heard, so its check fails in the dissector too.
A heard stretch over several bursts is cut where it agrees with them; the rest becomes one packet. Marks of the run are
packets without data whose comment is the mark.

The header of a packet (12 bytes, big-endian): seconds, microseconds, event (0 status change, 1 TX start, 2 RX start),
control lines, two reserved bytes: the tcpdump group's list of link-layer header types. Blocks: the IETF draft "PCAP
Next Generation (pcapng) Capture File Format".

`pcapng_command` returns the command that dissects MODBUS RTU in it.
"""

from __future__ import annotations

import heapq
import shlex
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from busim.recording.exports.captured import Packet, captured
from busim.recording.exports.target import chosen_lines, new_file, station_named
from busim.recording.trace import MARK, Trace

_LINK_TYPE = 250
_SECTION, _INTERFACE, _PACKET = 0x0A0D0D0A, 1, 6
_COMMENT, _IF_NAME, _IF_TSRESOL = 1, 2, 9
_STATUS, _TX, _RX = 0, 1, 2


class _Entry(NamedTuple):
    """A packet on its way into the file."""

    at: int
    interface: int
    event: int
    data: bytes
    comment: str


def to_pcapng(
    trace: Trace, path: str | Path, line: str | None = None, *, at: str | None = None, overwrite: bool = False
) -> None:
    """Write the packets of all lines of a trace, or of one, to `path`; `at`: as this station captures them.

    Raises UserError: no such line or station, a file there already (unless `overwrite`), not writable, the trace
    damaged.
    """
    lines = chosen_lines(trace, line)
    station = None if at is None else station_named(trace, at)
    epoch = trace.head.get("epoch", 0)
    start = epoch if isinstance(epoch, int) else 0
    with new_file(trace, path, overwrite) as out:
        out.write(_section())
        for name in lines.values():
            out.write(_interface(name))
        entries = [_entries(trace, number, place, station) for place, number in enumerate(lines)]
        for entry in heapq.merge(*entries, _marks(trace) if lines else iter(()), key=lambda entry: entry.at):
            out.write(_packet(entry, start))


def pcapng_command(trace: Trace, path: str | Path, line: str | None = None, at: str | None = None) -> str:
    """A command that dissects the MODBUS RTU frames of a written file and verifies their checks.

    Raises UserError: no such line or station.
    """
    chosen_lines(trace, line)
    if at is not None:
        station_named(trace, at)
    file = shlex.quote(str(path))
    return f"tshark -r {file} -d rtacser.data,mbrtu -o mbrtu.crc_verification:TRUE"


def _entries(trace: Trace, line: int, interface: int, station: int | None) -> Iterator[_Entry]:
    for packet in captured(trace, line, station):
        yield _Entry(packet.at, interface, _RX if packet.from_camera else _TX, packet.data, _remark(packet))


def _remark(packet: Packet) -> str:
    if packet.sent is None:
        return ""
    return f"heard otherwise than sent; sent {packet.sent.hex(' ')}"


def _marks(trace: Trace) -> Iterator[_Entry]:
    for _, at, text in trace.records(MARK, by_time=True):
        yield _Entry(at, 0, _STATUS, b"", text)


def _section() -> bytes:
    return _block(_SECTION, struct.pack("<IHHq", 0x1A2B3C4D, 1, 0, -1))


def _interface(name: str) -> bytes:
    options = _option(_IF_NAME, name.encode()) + _option(_IF_TSRESOL, b"\x09") + _option(0, b"")
    return _block(_INTERFACE, struct.pack("<HHI", _LINK_TYPE, 0, 0) + options)


def _packet(entry: _Entry, epoch: int) -> bytes:
    at = epoch + entry.at
    seconds, rest = divmod(at, 10**9)
    data = struct.pack(">IIBBH", seconds & 0xFFFFFFFF, rest // 1000, entry.event, 0, 0) + entry.data
    head = struct.pack("<IIIII", entry.interface, at >> 32 & 0xFFFFFFFF, at & 0xFFFFFFFF, len(data), len(data))
    options = _option(_COMMENT, entry.comment.encode()) + _option(0, b"") if entry.comment else b""
    return _block(_PACKET, head + _padded(data) + options)


def _block(kind: int, body: bytes) -> bytes:
    length = len(body) + 12
    return struct.pack("<II", kind, length) + body + struct.pack("<I", length)


def _option(code: int, value: bytes) -> bytes:
    value = value[:0xFFFF]
    return struct.pack("<HH", code, len(value)) + _padded(value)


def _padded(data: bytes) -> bytes:
    return data + bytes(-len(data) % 4)

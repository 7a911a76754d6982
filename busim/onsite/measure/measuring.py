"""The run of a measurement: listen, then reads of one value and of the longest run of values, in turn."""

from __future__ import annotations

import socket
import struct
import sys
from dataclasses import dataclass
from typing import Any

from busim.foundation.errors import UserError
from busim.onsite.measure.planned import Planned
from busim.onsite.measure.separate import Part, Sample, Wire, separate
from busim.onsite.targets import Asked, RealTool
from busim.physics.exchange import runs
from busim.protocols import READ, Request

SCHEMA = 1
_SILENT = 5  # reads without a reply after which no more are sent
_RTT = 68  # offset of tcpi_rtt in struct tcp_info, in bytes (Linux, include/uapi/linux/tcp.h)


@dataclass(frozen=True, slots=True)
class Measurement:
    """`parts` of the exchanges with one camera. `network`: round trip of the TCP connection in ns, None: no TCP.

    `reads` were sent, `lost` of them had no sound reply; `listened` ns before.
    """

    camera: str
    bus_id: int
    parts: tuple[Part, ...]
    reads: int
    lost: int
    listened: int
    network: int | None
    notes: tuple[str, ...]

    def part(self, name: str) -> Part | None:
        return next((one for one in self.parts if one.name == name), None)

    def as_json(self) -> dict[str, Any]:
        """JSON form; times in seconds."""
        return {
            "schema": SCHEMA, "camera": self.camera, "bus_id": self.bus_id, "reads": self.reads, "lost": self.lost,
            "listened_seconds": self.listened / 1e9, "notes": list(self.notes),
            "network_round_trip_seconds_measured": None if self.network is None else self.network / 1e9,
            "parts": [
                {"name": one.name, "how": one.how, "why": one.why, "count": one.value.count}
                | {key: getattr(one.value, key) / (1 if one.name == "packing length" else 1e9)
                   for key in ("least", "low", "middle", "high", "most")}
                for one in self.parts
            ],
        }  # fmt: skip


def measure(tool: RealTool, planned: Planned, listening: int, reads: int = 100) -> Measurement:
    """Listen for `listening` ns, then send `reads` reads.

    Raises OtherMaster, and UserError where no reply came to the first few, since each waits for its whole time-out.
    """
    tool.listen_first(listening)
    samples, lost = [], 0
    asked = _reads(planned)
    tool.ask(asked[0])  # shows whether there is an echo; its own times are not taken
    for number in range(reads):
        request = asked[number % len(asked)]
        answer = tool.ask(request)
        sample = _sample(tool, request, answer)
        if sample is None:
            lost += 1
        else:
            samples.append(sample)
        if not samples and lost >= _SILENT:
            break
    if not samples:
        raise UserError(
            "no reply could be timed", found=f"{lost} reads to bus ID {planned.bus_id}, no sound reply",
            expected="a camera that answers reads of its model",
            mend="check its bus ID, model and power, and baud and format of the line",
        )  # fmt: skip
    setting = tool.setting
    wire = Wire(setting.char, setting.tail, tool.silence)
    parts = separate(samples, wire, planned.packing, planned.latency)
    return Measurement(planned.name, planned.bus_id, parts, reads, lost, listening, _network(tool), tool.link.notes)


def _reads(planned: Planned) -> list[Request]:
    """The read of one value, and the longest read of neighbouring values."""
    found = runs(list(planned.keys), planned.protocol.most_values)
    first, size = max(found, key=lambda one: one[1])
    requests = [Request(planned.bus_id, READ, first, 1)]
    return requests if size == 1 else [*requests, Request(planned.bus_id, READ, first, size)]


def _sample(tool: RealTool, request: Request, asked: Asked) -> Sample | None:
    reply = asked.reply
    if reply is None or reply.refused or asked.rest:
        return None
    since, data = asked.heard.since, asked.replies[0].data
    arrivals = tuple((packet.at - since, len(packet.data)) for packet in asked.heard.packets)
    return Sample(tool.protocol.request_bytes(request), len(data), arrivals, asked.echoed)


def _network(tool: RealTool) -> int | None:
    """The system's own measure of the connection's round trip, ns (Linux)."""
    descriptor = tool.link.descriptor
    if descriptor is None or sys.platform != "linux":
        return None
    try:
        with socket.socket(fileno=socket.dup(descriptor)) as connection:
            told = connection.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, _RTT + 4)
    except OSError:  # a serial port
        return None
    return int(struct.unpack_from("I", told, _RTT)[0]) * 1000

"""A client at a converter, driven by hand from a test: bytes sent, bytes received, and their instants."""

from __future__ import annotations

from pathlib import Path

from busim.plan import Plan
from busim.recording.trace import Record
from busim.runtime.session import Run

# Read one register at 0 from address 1: MODBUS Application Protocol V1.1b3, 6.3; CRC by Serial Line V1.02, 6.2.2.
READ_ONE = bytes.fromhex("01 03 00 00 00 01 84 0A")
MS = 10**6


class Guest:
    """`got`: the bytes received, with their instants (ns); `ended`: (client, whether by a reset) of each connection."""

    def __init__(self, plan: Plan, box: str = "wall box", trace: Path | None = None) -> None:
        self.records: list[Record] = []
        self.run = Run(plan, 1, played=(), also=self.records.append, trace=trace)
        self.port = self.run.world.converters[box]
        self.got: list[tuple[int, bytes]] = []
        self.ended: list[tuple[int, bool]] = []
        self.port.clients.drop = lambda client, reset: self.ended.append((client, reset))
        self.client = 0

    @property
    def now(self) -> int:
        return self.run.world.kernel.now

    def connect(self) -> bool:
        """Open one more connection; True if it was accepted."""
        self.client += 1
        return self.port.open(self.client, lambda _, data: self.got.append((self.now, data)))

    def ask(self, data: bytes = READ_ONE, wait: int = 100 * MS) -> bytes:
        """Send bytes and collect for a while."""
        self.got.clear()
        self.port.chunk(self.client, data)
        self.wait(wait)
        return self.data

    def wait(self, length: int) -> None:
        self.run.advance(self.now + length)

    @property
    def data(self) -> bytes:
        return b"".join(data for _, data in self.got)

    def count(self, fault: str) -> int:
        return sum(one.count for one in self.run.faults if one.fault.name == fault)

    def texts(self, kind: int, column: int) -> list[str]:
        return [record[column] for record in self.records if record[0] == kind]

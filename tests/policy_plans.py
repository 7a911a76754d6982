"""One line with a converter, to test client policies: as a plan and in fast time."""

from __future__ import annotations

from serving import read_frame, value_frame

from busim.plan import read_text
from busim.recording.trace import EFFECT, Record
from busim.simulator.world import ConverterPort, World, build

MS = 1_000_000
BUS_ID = 100  # the register that holds it
ONE, TWO = read_frame(1, BUS_ID), read_frame(2, BUS_ID)
FROM_ONE, FROM_TWO = value_frame(1, 1), value_frame(2, 2)


def plan_of(clients: str = "4", more: str = "", turnaround: str = "2 ms") -> str:
    return f"""
busim: 1
name: lane
lines:
  - name: lane line
    baud: 38400 Bd
    format: 8E1
    protocol: modbus-rtu
    order: [{{converter: box}}, {{camera: start, after: 5 m}}, {{camera: top, after: 20 m}}]
converters:
  - name: box
    endpoint: 198.51.100.44:15001
    latency: 500 us
    clients: {clients}
    {more}
cameras:
  - {{name: start, bus_id: 1, turnaround: {turnaround}}}
  - {{name: top, bus_id: 2, turnaround: {turnaround}}}
"""


class Lane:
    """The line with its box in fast time. `got`: bytes for each client; `dropped`: clients that the box dropped."""

    def __init__(self, clients: str = "4", more: str = "", turnaround: str = "2 ms") -> None:
        self.records: list[Record] = []
        plan = read_text(plan_of(clients, more, turnaround))
        self.world: World = build(plan, 1, self.records.append, watched=True)
        self.box: ConverterPort = self.world.converters["box"]
        self.got: dict[int, bytearray] = {}
        self.dropped: list[tuple[int, bool]] = []
        self.box.clients.drop = lambda client, reset: self.dropped.append((client, reset))
        self.world.start()

    def open(self, client: int) -> bool:
        self.got[client] = bytearray()
        return self.box.open(client, lambda number, data: self.got[number].extend(data))

    def go(self, to: int) -> None:
        self.world.kernel.advance(to * MS)

    def effects(self) -> list[str]:
        return [record[4] for record in self.records if record[0] == EFFECT]

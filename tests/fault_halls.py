"""The shared plan of fault tests: three cameras behind a converter, or with a master on the line; and its records."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from busim.plan import Plan, read_text
from busim.recording.trace import EFFECT, Record
from busim.runtime.session import Run

MS, S = 10**6, 10**9

HALL = """
busim: 1
name: fault hall
lines:
  - name: wall line
    baud: 38400 Bd
    format: 8E1
    protocol: modbus-rtu
    order:
      - terminator
      - converter: wall box
      - {camera: rope left, after: 12 m}
      - {camera: rope right, after: 8 m}
      - {camera: rope top, after: 15 m}
      - terminator
converters:
  - {name: wall box, endpoint: "198.51.100.48:15001", packing: {idle: 2 ms}, latency: 1 ms, clients: 4}
cameras:
  - {name: rope left, bus_id: 1, serial: 11, turnaround: 3 ms}
  - {name: rope right, bus_id: 2, serial: 12, turnaround: 3 ms}
  - {name: rope top, bus_id: 3, serial: 13, turnaround: 3 ms}
masters:
  - name: controller
    through: [wall box]
    groups: [{name: fast, values: [iris, gain], every: 50 ms}]
"""


def hall(faults: str = "") -> Plan:
    """The plan, with these entries of `faults`, each `{...}` in a line of its own."""
    entries = "".join(f"  - {line.strip()}\n" for line in faults.strip().splitlines())
    return read_text(HALL + (f"faults:\n{entries}" if entries else ""))


class Broken:
    """A complete run of the hall: its records, figures and fault effects."""

    def __init__(
        self,
        faults: str = "",
        *,
        length: int = 5 * S,
        seed: int = 1,
        trace: Path | None = None,
        plan: Plan | None = None,
    ) -> None:
        self.records: list[Record] = []
        self.run = Run(plan or hall(faults), seed, trace=trace, also=self.records.append)
        self.run.advance(length)
        self.run.finish()

    def count(self, fault: str) -> int:
        """Number of effects, as the fault board counts them."""
        return sum(one.count for one in self.run.faults if one.fault.name == fault)

    def of(self, kind: int) -> list[Record]:
        return [record for record in self.records if record[0] == kind]

    def effects(self, fault: str) -> list[tuple[int, str]]:
        """Instants and texts of its effect records."""
        return [(record[1], record[4]) for record in self.of(EFFECT) if record[3] == fault]

    def figure(self, name: str) -> Any:
        return self.run.report().lines[0].figures[name].value

    def camera(self, camera: str, figure: str) -> Any:
        found = next(one for one in self.run.report().lines[0].cameras if one.name == camera)
        return found.figures[figure].value

    def number(self, name: str) -> int:
        return next(one.row for one in self.run.world.names if one.name == name)

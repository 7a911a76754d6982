"""Plans of one line for tests, and listeners for a line."""

from __future__ import annotations

from crccheck.crc import CrcModbus

from busim.plan import Plan, read_text
from busim.simulator.bus import Listener, Station


def wall(
    *,
    cameras: int = 1,
    baud: str = "19200 Bd",
    turnaround: str = "0",
    values: str = "[iris, gain, shutter]",
    every: str = "0",
    after: str = "1 m",
    master: str = "",
    absent: tuple[int, ...] = (),
) -> Plan:
    """One master, `desk`, at the end of the line `wall`, and cameras `c1`, `c2` ... behind it with IDs 1, 2 ...

    `values` "": it polls nothing.
    """
    groups = f"[{{name: fast, values: {values}, every: {every}}}]" if values else "[]"
    numbers = range(1, cameras + 1)
    order = "".join(f"      - {{camera: c{n}, after: {after}}}\n" for n in numbers)
    declared = "".join(
        f"  - {{name: c{n}, bus_id: {n}, serial: {n}, turnaround: {turnaround}, "
        f"present: {'false' if n in absent else 'true'}}}\n"
        for n in numbers
    )
    return read_text(
        f"""
busim: 1
name: one wall
lines:
  - name: wall
    baud: {baud}
    format: 8E1
    protocol: modbus-rtu
    order:
      - terminator
      - master: desk
{order}      - terminator
cameras:
{declared}
masters:
  - name: desk
    on: [wall]
    groups: {groups}
    {master}
"""
    )


def sealed(text: str) -> bytes:
    """Bytes from hexadecimal with CRC-16/MODBUS behind them, computed by crccheck and not by busim."""
    data = bytes.fromhex(text)
    return data + CrcModbus.calc(data).to_bytes(2, "little")


class KeepingListener(Listener):
    """A listener that keeps each character with its instant: `heard` is (ns, value, flags)."""

    def __init__(self, station: Station) -> None:
        super().__init__()
        self._setting = station.setting
        self.characters: list[tuple[int, int, int]] = []

    def heard(
        self, data: bytes, first: int, last: int, flags: int, source: Station | None, deaf: Station | None
    ) -> None:
        setting = self._setting
        start = first - setting.sample
        for number, value in enumerate(data):
            at = start + setting.offset(number * setting.halves) + setting.sample if number else first
            self.characters.append((last if number == len(data) - 1 else at, value, flags))

    @property
    def data(self) -> bytes:
        return bytes(value for _, value, _ in self.characters)

"""Plans of one line behind a converter, for the budget and for simulated runs, and a comparison of both."""

from __future__ import annotations

from itertools import zip_longest

from busim.plan import Plan, read_text

SLOW = "{name: slow, values: [tally, temperature], every: 1 s}"


def box(
    *,
    cameras: int = 4,
    baud: str = "38400 Bd",
    format: str = "8E1",
    line: str = "",
    packing: str = "{idle: 4 ms, length: 0}",
    latency: str = "1 ms",
    turnaround: str = "2..6 ms",
    absent: tuple[int, ...] = (),
    models: tuple[str, ...] = (),
    values: str = "[iris, gain, shutter]",
    every: str = "0",
    more: str = "",
    master: str = "",
    moves: str = "0",
    controls: str = "[iris, red_gain, zoom, focus]",
    protocol: str = "modbus-rtu",
) -> Plan:
    """Cameras `c1`, `c2` ... behind converter `box`, asked by master `desk`; panel `panel` moves all of them.

    `models`: of the first ones, where they are not the usual.
    """
    names = [f"c{number}" for number in range(1, cameras + 1)]
    order = "".join(f"      - {{camera: {name}, after: 10 m}}\n" for name in names)
    kinds = [f"model: {model}, " for model in models[:cameras]]
    declared = "".join(
        f"  - {{name: {name}, {kind}bus_id: {number}, serial: {number}, turnaround: {turnaround}, "
        f"present: {'false' if number in absent else 'true'}}}\n"
        for number, (name, kind) in enumerate(zip_longest(names, kinds, fillvalue=""), 1)
    )
    return read_text(
        f"""
busim: 1
name: one box
lines:
  - name: wall
    baud: {baud}
    format: {format}
    protocol: {protocol}
    {line}
    order:
      - terminator
      - converter: box
{order}      - terminator
converters:
  - {{name: box, endpoint: "198.51.100.44:15001", packing: {packing}, latency: {latency}}}
cameras:
{declared}
masters:
  - name: desk
    through: [box]
    {master}
    groups:
      - {{name: fast, values: {values}, every: {every}}}
      {"- " + more if more else ""}
panels:
  - {{name: panel, master: desk, cameras: [{", ".join(names)}], controls: {controls}, moves: {moves}}}
"""
    )

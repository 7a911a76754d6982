"""The sound plan, the base of all examples of rules: no rule finds anything in it, so each edit shows one mistake.

An example is a list of edits: a piece of text that is in the plan once, and its replacement. In a bad example the mark
« is just before each place that the rule must name. A new rule that expects something in a good plan adds it here.
"""

from __future__ import annotations

from busim.foundation.errors import Defect

MARK = "«"

SOUND = """\
busim: 1
name: sound hall
lines:
  - name: boulder line
    baud: 38400 Bd
    format: 8E1
    protocol: modbus-rtu
    order:
      - terminator
      - converter: boulder box
      - {camera: boulder left, after: 18 m, stub: 0.3 m}
      - {camera: boulder right, after: 9 m, stub: 0.3 m}
      - {camera: boulder mats, after: 14 m}
      - terminator
  - name: speed line
    baud: 115200 Bd
    format: 8E1
    protocol: modbus-rtu
    order:
      - terminator
      - converter: speed box
      - {camera: speed start, after: 24 m, stub: 0.3 m}
      - {camera: speed finish, after: 12 m}
      - terminator
converters:
  - name: boulder box
    endpoint: 198.51.100.44:15001
    packing: {idle: 4 ms, length: 0}
    latency: 1 ms
    clients: {most: 4}
  - name: speed box
    endpoint: 198.51.100.45:15001
    packing: {idle: 2 ms, length: 0}
    latency: 1 ms
    clients: {most: 4}
cameras:
  - {name: boulder left, bus_id: 2, serial: 4101, turnaround: 2..6 ms}
  - {name: boulder right, bus_id: 3, serial: 4102, turnaround: 2..6 ms}
  - {name: boulder mats, bus_id: 4, serial: 4103, turnaround: 2..6 ms}
  - {name: speed start, bus_id: 21, serial: 4104, turnaround: 2..6 ms,
     factory_baud: 115200 Bd}
  - {name: speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms,
     factory_baud: 115200 Bd}
masters:
  - name: controller
    through: [boulder box, speed box]
    groups:
      - {name: fast, values: [iris, gain, master_black], every: 250 ms}
      - {name: slow, values: [tally, temperature], every: 2 s}
    time_out: computed
    retries: 2
    offline_after: 3
panels:
  - name: shading desk
    master: controller
    cameras: [boulder left, boulder right, boulder mats, speed start, speed finish]
    controls: [iris, master_black]
    moves: 1 /s
supplies:
  - name: boulder supply
    voltage: 13.8 V
    limit: 60 W
    fuse: 5 A
    cable: {length: 2 m, gauge: AWG 14}
    feeds: [boulder box, boulder left, boulder right, boulder mats]
  - name: speed supply
    voltage: 13.6 V
    limit: 45 W
    fuse: 4 A
    cable: {length: 3 m, gauge: AWG 14}
    feeds: [speed box, speed start, speed finish]
"""


_SPEED, _BOULDER = ("4104", "4105"), ("4101", "4102", "4103")
_SET_SPEED = ",\n     factory_baud: 115200 Bd"


def delivered(port: str, *, boulder: bool = False) -> tuple[tuple[str, str], ...]:
    """Edits that let the cameras of the speed line, or of the boulder line, come with these factory settings.

    For examples that change the settings of a line: it is not about cameras that are deaf until they are set.
    """
    serials, before = (_BOULDER, "") if boulder else (_SPEED, _SET_SPEED)
    old = (f"{serial}, turnaround: 2..6 ms{before}" for serial in serials)
    new = (f"{serial}, turnaround: 2..6 ms, {port}" for serial in serials)
    return tuple(zip(old, new, strict=True))


def edited(edits: tuple[tuple[str, str], ...]) -> str:
    """The sound plan with these edits, marks included. Raises Defect for a piece that is not in the plan once."""
    text = SOUND
    for old, new in edits:
        if text.count(old) != 1:
            raise Defect(f"an example replaces {old!r}, which stands {text.count(old)} times in the plan")
        text = text.replace(old, new)
    return text


def marked(edits: tuple[tuple[str, str], ...]) -> tuple[str, list[tuple[int, int]]]:
    """The edited plan without its marks, and line and column (from 1) of the text after each mark."""
    places = []
    lines = []
    for number, line in enumerate(edited(edits).splitlines(), 1):
        while MARK in line:
            places.append((number, line.index(MARK) + 1))
            line = line.replace(MARK, "", 1)
        lines.append(line)
    return "\n".join(lines) + "\n", places

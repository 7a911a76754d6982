"""Bad plans as data: each is the good plan with one piece of text replaced.

The mark « stands in the replacement just before the place that must be named; its line and column are counted in the
text itself, not by the reader. A row: what is wrong, old text, new text, and (code, field) of each finding in order.
"""

# ruff: noqa: E501 - a table reads best with a row on a line
from __future__ import annotations

from dataclasses import dataclass

MARK = "«"

GOOD = """\
busim: 1
name: two walls
lines:
  - name: boulder wall
    baud: 38400 Bd
    format: 8E1
    protocol: modbus-rtu
    order:
      - terminator
      - converter: boulder box
      - camera: left mat
        after: 12 m
      - camera: right mat
        after: 9 m
      - terminator
  - name: speed wall
    baud: 115200 Bd
    format: 8N1
    protocol: modbus-rtu
    order:
      - converter: speed box
      - camera: finish
        after: 30 m
      - master: laptop
converters:
  - name: boulder box
    endpoint: 198.51.100.44:15001
    packing: {idle: 4 ms, length: 0}
    clients: 4
  - name: speed box
    endpoint: 198.51.100.45:15001
cameras:
  - name: left mat
    bus_id: 1
    turnaround: 2..6 ms
  - name: right mat
    bus_id: 1
    driver: {baud: 9600 Bd, clock: -200 ppm, hold: -20 us}
  - name: finish
    bus_id: 300
    present: false
masters:
  - name: controller
    through: [boulder box, speed box]
    groups:
      - {name: fast, values: [iris, gain], every: 0}
      - {name: slow, values: [tally], every: 1 s}
    time_out: computed
  - name: laptop
    on: [speed wall]
    cameras: [finish]
    time_out: 250 ms
panels:
  - {name: desk, master: controller, cameras: [left mat], controls: [iris], moves: 0.5 /s}
"""

# The site part of a plan, to be appended to the good plan.
SITE = """\
places:
  - {name: wall, at: [12 m, -4 m], note: lift needed}
supplies:
  - name: wall supply
    voltage: 47..49 V
    limit: 120 W
    fuse: 3.15 A
    place: wall
    at: boulder box
    feeds: [left mat]
    cable: {length: 30 m, gauge: AWG 14}
  - {name: switch port, kind: poe, poe_class: 4, voltage: 44..57 V}
spares:
  - {name: spare camera, bus_id: 1, count: 2, place: wall}
silenced:
  - {rule: supply-fuse, at: wall supply, reason: the house fuses it}
"""


@dataclass(frozen=True)
class Bad:
    """One mistake: `old` of the good plan replaced once by `new`."""

    what: str
    old: str
    new: str
    expected: tuple[tuple[str, str], ...]

    @property
    def text(self) -> str:
        return unmarked(GOOD.replace(self.old, self.new, 1))[0]

    @property
    def places(self) -> list[tuple[int, int]]:
        return unmarked(GOOD.replace(self.old, self.new, 1))[1]


def unmarked(text: str) -> tuple[str, list[tuple[int, int]]]:
    """A text without its marks, and the line and column (from 1) before which each mark stood."""
    places = []
    for number, line in enumerate(text.split("\n"), 1):
        before = ""
        for part in line.split(MARK)[:-1]:
            before += part
            places.append((number, len(before) + 1))
    return text.replace(MARK, ""), places


def bad(what: str, old: str, new: str, *expected: tuple[str, str]) -> Bad:
    return Bad(what, old, new, expected)


BAD = [
    # the form of the file
    bad("unknown version", "busim: 1", "busim: «2", ("bad-value", "busim")),
    bad("no version", "busim: 1\nname: two walls", "«name: two walls", ("missing-key", "busim")),
    bad("misspelt key", "    protocol: modbus-rtu", "    protocol: modbus-rtu\n    «velocty: 0.7", ("unknown-key", "lines[0].velocty")),
    bad("unknown key at the top", "name: two walls", "name: two walls\n«colour: red", ("unknown-key", "colour")),
    bad("key given twice", "    clients: 4", "    clients: 4\n    «clients: 5", ("duplicate-key", "converters[0].clients")),
    bad("missing key", "  - name: left mat\n    bus_id: 1", "  - «name: left mat", ("missing-key", "cameras[0].bus_id")),
    bad("empty section", "panels:\n  - {name: desk, master: controller, cameras: [left mat], controls: [iris], moves: 0.5 /s}", "«panels:", ("wrong-kind", "panels")),
    bad("a mapping for a list", "panels:\n  - {", "panels:\n  «{", ("wrong-kind", "panels")),
    bad("a word for a list", "through: [boulder box, speed box]", "through: «boulder box", ("wrong-kind", "masters[0].through")),
    bad("a word for a mapping", "packing: {idle: 4 ms, length: 0}", "packing: «4 ms", ("wrong-kind", "converters[0].packing")),
    bad("a word for a switch", "present: false", "present: «no", ("wrong-kind", "cameras[2].present")),
    bad("an entry too many that is no mapping", "masters:\n", "  - «spare\nmasters:\n", ("wrong-kind", "cameras[3]")),
    bad("a position without its name", "      - camera: left mat\n", "      - camera: left mat\n      - «master:\n", ("bad-value", "lines[0].order[3]")),
    bad("a list for a quantity", "baud: 38400 Bd", "baud: «[38400, 9600]", ("bad-value", "lines[0].baud")),
    bad("a switch for a quantity", "baud: 38400 Bd", "baud: «true", ("bad-value", "lines[0].baud")),
    bad("a switch for a number", "bus_id: 300", "bus_id: «true", ("wrong-kind", "cameras[2].bus_id")),
    # scalars
    bad("no baud", "baud: 38400 Bd", "baud: «fast", ("bad-value", "lines[0].baud")),
    bad("baud of zero", "baud: 38400 Bd", "baud: «0 Bd", ("bad-value", "lines[0].baud")),
    bad("baud in another unit", "baud: 38400 Bd", "baud: «38 m", ("bad-value", "lines[0].baud")),
    bad("no format", "format: 8E1", "format: «9N1", ("bad-value", "lines[0].format")),
    bad("empty protocol", "protocol: modbus-rtu", 'protocol: «""', ("bad-value", "lines[0].protocol")),
    bad("unknown contention", "    format: 8N1", "    format: 8N1\n    contention: «space-win", ("bad-value", "lines[1].contention")),
    bad("velocity of zero", "    format: 8N1", "    format: 8N1\n    velocity: «0", ("out-of-bounds", "lines[1].velocity")),
    bad("faster than light", "    format: 8N1", "    format: 8N1\n    velocity: «1.01", ("out-of-bounds", "lines[1].velocity")),
    bad("velocity not a number", "    format: 8N1", "    format: 8N1\n    velocity: «.nan", ("out-of-bounds", "lines[1].velocity")),
    bad("velocity in words", "    format: 8N1", "    format: 8N1\n    velocity: «slow", ("wrong-kind", "lines[1].velocity")),
    bad("too many bit errors", "    format: 8N1", "    format: 8N1\n    bit_error_rate: «0.02", ("out-of-bounds", "lines[1].bit_error_rate")),
    bad("negative bit errors", "    format: 8N1", "    format: 8N1\n    bit_error_rate: «-1e-9", ("out-of-bounds", "lines[1].bit_error_rate")),
    bad("too much chatter", "    format: 8N1", "    format: 8N1\n    chatter: «1001 /s", ("bad-value", "lines[1].chatter")),
    bad("negative cable", "after: 12 m", "after: «-12 m", ("bad-value", "lines[0].order[2].after")),
    bad("cable without unit", "after: 12 m", "after: «12", ("bad-value", "lines[0].order[2].after")),
    bad("a very long cable", "after: 12 m", "after: «12 km", ("bad-value", "lines[0].order[2].after")),
    bad("ID not whole", "bus_id: 300", "bus_id: «3.5", ("wrong-kind", "cameras[2].bus_id")),
    bad("ID too large for any protocol", "bus_id: 300", "bus_id: «65536", ("out-of-bounds", "cameras[2].bus_id")),
    bad("negative ID", "bus_id: 300", "bus_id: «-1", ("out-of-bounds", "cameras[2].bus_id")),
    bad("ID in quotes", "bus_id: 300", 'bus_id: «"300"', ("wrong-kind", "cameras[2].bus_id")),
    bad("ID not written", "bus_id: 300", "«bus_id:", ("wrong-kind", "cameras[2].bus_id")),
    bad("turnaround backwards", "2..6 ms", "«6..2 ms", ("bad-value", "cameras[0].turnaround")),
    bad("turnaround of no unit", "2..6 ms", "«2..6", ("bad-value", "cameras[0].turnaround")),
    bad("turnaround to nothing", "2..6 ms", "«2..0", ("bad-value", "cameras[0].turnaround")),
    bad("turnaround of minutes", "2..6 ms", "«2..3 min", ("bad-value", "cameras[0].turnaround")),
    bad("clock without ppm", "clock: -200 ppm", "clock: «-200", ("bad-value", "cameras[1].driver.clock")),
    bad("clock far off", "clock: -200 ppm", "clock: «200000 ppm", ("bad-value", "cameras[1].driver.clock")),
    bad("hold for seconds", "hold: -20 us", "hold: «2 s", ("bad-value", "cameras[1].driver.hold")),
    bad("name of digits", "  - {name: desk", "  - {name: «5", ("bad-value", "panels[0].name")),
    bad("empty name", "  - {name: desk", '  - {name: «" "', ("bad-value", "panels[0].name")),
    bad("name with a line break", "  - {name: desk", '  - {name: «"a\\nb"', ("bad-value", "panels[0].name")),
    bad("negative time", "every: 1 s", "every: «-1 s", ("bad-value", "masters[0].groups[1].every")),
    bad("time-out of zero", "time_out: 250 ms", "time_out: «0", ("bad-value", "masters[1].time_out")),
    bad("time-out in words", "time_out: 250 ms", "time_out: «compute", ("bad-value", "masters[1].time_out")),
    bad("no clients", "clients: 4", "clients: «0", ("out-of-bounds", "converters[0].clients")),
    bad("packing without unit", "idle: 4 ms", "idle: «4", ("bad-value", "converters[0].packing.idle")),
    bad("moves without unit", "moves: 0.5 /s", "moves: «0.5", ("bad-value", "panels[0].moves")),
    bad("group of nothing", "values: [tally]", "values: «[]", ("wrong-kind", "masters[0].groups[1].values")),
    bad("panel of no cameras", "cameras: [left mat]", "cameras: «[]", ("wrong-kind", "panels[0].cameras")),
    # two at once
    bad("a master renamed", "      - master: laptop\nconverters:", "      - master: «lap\nconverters:",
        ("no-such-master", "lines[1].order[2].master")),
    bad("a position of two kinds", "      - camera: left mat\n", "      - «camera: left mat\n        terminator: true\n", ("bad-value", "lines[0].order[2]")),
    bad("two mistakes in one line", "{baud: 9600 Bd, clock: -200 ppm, hold: -20 us}", "{baud: «9600 m, «clocks: -200 ppm, hold: «20}",
        ("bad-value", "cameras[1].driver.baud"), ("unknown-key", "cameras[1].driver.clocks"), ("bad-value", "cameras[1].driver.hold")),
    # endpoints
    bad("endpoint without port", "198.51.100.45:15001", "«198.51.100.45", ("bad-value", "converters[1].endpoint")),
    bad("endpoint by name", "198.51.100.45:15001", "«box.hall:15001", ("bad-value", "converters[1].endpoint")),
    bad("port out of range", "198.51.100.45:15001", "«198.51.100.45:65536", ("bad-value", "converters[1].endpoint")),
    bad("port with a nought before", "198.51.100.45:15001", "«198.51.100.45:015001", ("bad-value", "converters[1].endpoint")),
    bad("endpoint of everybody", "198.51.100.45:15001", "«0.0.0.0:15001", ("bad-value", "converters[1].endpoint")),
    bad("two at one endpoint", "198.51.100.45:15001", "«198.51.100.44:15001", ("duplicate-endpoint", "converters[1].endpoint")),
    # positions of a line
    bad("a position of no kind", "      - camera: left mat\n        after: 12 m\n", "      - camera: left mat\n      - «after: 12 m\n",
        ("bad-value", "lines[0].order[3]")),
    bad("an unknown word as a position", "      - terminator\n  - name: speed", "      - «terminater\n  - name: speed", ("bad-value", "lines[0].order[4]")),
    bad("a terminator that is none", "      - terminator\n  - name: speed", "      - «terminator: false\n  - name: speed", ("bad-value", "lines[0].order[4]")),
    bad("cable before the first", "      - converter: speed box", "      - converter: speed box\n        after: «3 m", ("no-cable-before", "lines[1].order[0].after")),
    bad("an unknown camera on a line", "      - terminator\n  - name: speed", "      - camera: «left hat\n  - name: speed", ("no-such-camera", "lines[0].order[4].camera")),
    bad("an unknown converter on a line", "      - terminator\n  - name: speed", "      - converter: «nothing like it\n  - name: speed", ("no-such-converter", "lines[0].order[4].converter")),
    bad("an unknown master on a line", "      - terminator\n  - name: speed", "      - master: «labtop\n  - name: speed", ("no-such-master", "lines[0].order[4].master")),
    bad("a camera on two lines", "      - master: laptop", "      - master: laptop\n      - camera: «left mat", ("placed-twice", "lines[1].order[3].camera")),
    bad("a converter on two lines", "      - master: laptop", "      - master: laptop\n      - converter: «boulder box", ("placed-twice", "lines[1].order[3].converter")),
    bad("a camera on no line", "masters:\n", "  - {name: «spare, bus_id: 9}\nmasters:\n", ("not-on-a-line", "cameras[3].name")),
    bad("a converter on no line", "cameras:\n", "  - {name: «spare, endpoint: 198.51.100.49:1}\ncameras:\n", ("not-on-a-line", "converters[2].name")),
    bad("a master twice on a line", "      - master: laptop", "      - master: laptop\n      - master: «laptop", ("placed-twice", "lines[1].order[3].master")),
    bad("a master on a line it does not know", "      - terminator\n  - name: speed", "      - master: «laptop\n  - name: speed", ("not-its-line", "lines[0].order[4].master")),
    bad("a master without its position", "    on: [speed wall]", "    on: [speed wall, «boulder wall]", ("not-on-a-line", "masters[1].on[1]")),
    # names and references
    bad("two panels of one name", "moves: 0.5 /s}", "moves: 0}\n  - {name: «desk, master: controller, cameras: [finish], controls: [gain]}",
        ("duplicate-name", "panels[1].name")),
    bad("two cameras of one name", "  - name: right mat\n    bus_id", "  - name: «left mat\n    bus_id", ("duplicate-name", "cameras[1].name")),
    bad("a space at the end of a name", "cameras:\n  - name: left mat\n", 'cameras:\n  - name: «"left mat "\n', ("bad-value", "cameras[0].name")),
    bad("a space that is none in a name", "cameras:\n  - name: left mat\n", "cameras:\n  - name: «left\u00a0mat\n", ("bad-value", "cameras[0].name")),
    bad("a name that is too long", "cameras:\n  - name: left mat\n", f"cameras:\n  - name: «{'left' * 20}\n", ("bad-value", "cameras[0].name")),
    bad("a camera without a name", "cameras:\n  - name: left mat\n    bus_id: 1", "cameras:\n  - «bus_id: 1", ("missing-key", "cameras[0].name")),
    bad("two groups of one name", "name: slow", "name: «fast", ("duplicate-name", "masters[0].groups[1].name")),
    bad("a value twice in a group", "values: [iris, gain]", "values: [iris, «iris]", ("named-twice", "masters[0].groups[0].values[1]")),
    bad("both on and through", "    on: [speed wall]", "    on: «[speed wall]\n    through: [speed box]", ("on-or-through", "masters[1].on")),
    bad("neither on nor through", "panels:", "  - «name: idle\npanels:", ("on-or-through", "masters[2]")),
    bad("through an unknown converter", "through: [boulder box, speed box]", "through: [boulder box, speed box, «bolder box]", ("no-such-converter", "masters[0].through[2]")),
    bad("a converter twice", "through: [boulder box, speed box]", "through: [boulder box, speed box, «speed box]", ("named-twice", "masters[0].through[2]")),
    bad("on an unknown line", "    on: [speed wall]", "    on: [speed wall, «sped wall]", ("no-such-line", "masters[1].on[1]")),
    bad("asking an unknown camera", "    cameras: [finish]", "    cameras: [«finnish]", ("no-such-camera", "masters[1].cameras[0]")),
    bad("asking out of reach", "    cameras: [finish]", "    cameras: [finish, «left mat]", ("out-of-reach", "masters[1].cameras[1]")),
    bad("a panel of an unknown master", "master: controller", "master: «controler", ("no-such-master", "panels[0].master")),
    bad("a panel of an unknown camera", "cameras: [left mat]", "cameras: [«left matt]", ("no-such-camera", "panels[0].cameras[0]")),
    bad("a panel out of its master's reach", "master: controller, cameras: [left mat]", "master: laptop, cameras: [«left mat]", ("out-of-reach", "panels[0].cameras[0]")),
    bad("a joystick without a rate", "moves: 0.5 /s", "joysticks: [«{camera: left mat, controls: [iris]}]", ("missing-key", "panels[0].joysticks[0].rate")),
    bad("a joystick at rest", "moves: 0.5 /s", "joysticks: [{camera: left mat, controls: [iris], rate: «0 /s}]", ("bad-value", "panels[0].joysticks[0].rate")),
    bad("a joystick of no controls", "moves: 0.5 /s", "joysticks: [{camera: left mat, controls: «[], rate: 25 /s}]", ("wrong-kind", "panels[0].joysticks[0].controls")),
    bad("a joystick whose positions overtake", "moves: 0.5 /s", "joysticks: [«{camera: left mat, controls: [iris], rate: 25 /s, jitter: 41 ms}]", ("bad-value", "panels[0].joysticks[0]")),
    bad("a joystick for another panel's camera", "moves: 0.5 /s", "joysticks: [{camera: «right mat, controls: [iris], rate: 25 /s}]", ("not-of-the-panel", "panels[0].joysticks[0].camera")),
    bad("a joystick with a control that its panel lacks", "moves: 0.5 /s", "joysticks: [{camera: left mat, controls: [«gain], rate: 25 /s}]", ("not-of-the-panel", "panels[0].joysticks[0].controls[0]")),
    bad("a joystick with a control twice", "moves: 0.5 /s", "joysticks: [{camera: left mat, controls: [iris, «iris], rate: 25 /s}]", ("named-twice", "panels[0].joysticks[0].controls[1]")),
    bad("back-off without a unit", "time_out: computed", "time_out: computed\n    listen: 2 ms\n    back_off: «20", ("bad-value", "masters[0].back_off")),
    bad("back-off of minutes", "time_out: computed", "time_out: computed\n    listen: 2 ms\n    back_off: «2 min", ("bad-value", "masters[0].back_off")),
    bad("a control twice", "controls: [iris]", "controls: [iris, «iris]", ("named-twice", "panels[0].controls[1]")),
]  # fmt: skip


def bad_site(what: str, old: str, new: str, *expected: tuple[str, str]) -> Bad:
    """As `bad`, with the site part appended to the good plan."""
    assert (GOOD + SITE).count(old) == 1
    tail = (GOOD + SITE).replace(old, new)
    return Bad(what, GOOD, tail, expected)


BAD_SITES = [
    bad_site("a coordinate too few", "at: [12 m, -4 m]", "at: «[12 m]", ("wrong-kind", "places[0].at")),
    bad_site("a coordinate without unit", "at: [12 m, -4 m]", "at: [12 m, «4]", ("bad-value", "places[0].at[1]")),
    bad_site("a note over two lines", "note: lift needed", 'note: «"lift\\nneeded"', ("bad-value", "places[0].note")),
    bad_site("no voltage", "  - name: wall supply\n    voltage: 47..49 V\n", "  - «name: wall supply\n", ("missing-key", "supplies[0].voltage")),
    bad_site("voltage in amperes", "voltage: 47..49 V", "voltage: «47..49 A", ("bad-value", "supplies[0].voltage")),
    bad_site("voltage of nothing", "voltage: 47..49 V", "voltage: «0", ("bad-value", "supplies[0].voltage")),
    bad_site("a fuse without unit", "fuse: 3.15 A", "fuse: «3.15", ("bad-value", "supplies[0].fuse")),
    bad_site("a limit of nothing", "limit: 120 W", "limit: «0 W", ("bad-value", "supplies[0].limit")),
    bad_site("no gauge", "gauge: AWG 14", "gauge: «14", ("bad-value", "supplies[0].cable.gauge")),
    bad_site("a PoE class there is none", "poe_class: 4", "poe_class: «9", ("out-of-bounds", "supplies[1].poe_class")),
    bad_site("a PoE class without PoE", "{name: switch port, kind: poe,", "«{name: switch port,", ("bad-value", "supplies[1]")),
    bad_site("a kind of supply there is none", "kind: poe", "kind: «ac", ("bad-value", "supplies[1].kind")),
    bad_site("no spares", "count: 2", "count: «0", ("out-of-bounds", "spares[0].count")),
    bad_site("no reason", "reason: the house fuses it", 'reason: «" "', ("bad-value", "silenced[0].reason")),
    bad_site("two places of one name", "note: lift needed}", "note: x}\n  - {name: «wall}", ("duplicate-name", "places[1].name")),
    bad_site("two supplies of one name", "name: switch port", "name: «wall supply", ("duplicate-name", "supplies[1].name")),
    bad_site("an unknown place of a spare", "count: 2, place: wall", "count: 2, place: «wahl", ("no-such-place", "spares[0].place")),
    bad_site("feeding nobody known", "feeds: [left mat]", "feeds: [«left hat]", ("no-such-station", "supplies[0].feeds[0]")),
    bad_site("feeding one twice", "feeds: [left mat]", "feeds: [left mat, «left mat]", ("named-twice", "supplies[0].feeds[1]")),
    bad_site("two supplies for one", "voltage: 44..57 V", "voltage: 44..57 V, feeds: [«left mat]", ("fed-twice", "supplies[1].feeds[0]")),
    bad_site("injected nowhere", "at: boulder box", "at: «bolder box", ("no-such-station", "supplies[0].at")),
    bad_site("silenced about nothing", "at: wall supply", "at: «wall supplies", ("no-such-entry", "silenced[0].at")),
    bad_site("an unknown supply of a camera", "    bus_id: 300\n", "    bus_id: 300\n    supply: «mall supply\n", ("no-such-supply", "cameras[2].supply")),
    bad_site("an unknown place of a camera", "    bus_id: 300\n", "    bus_id: 300\n    place: «wool\n", ("no-such-place", "cameras[2].place")),
    bad_site("power in volts", "    bus_id: 300\n", "    bus_id: 300\n    power: «6 V\n", ("bad-value", "cameras[2].power")),
    bad_site("power backwards", "    bus_id: 300\n", "    bus_id: 300\n    power: {peak: «8..6 W}\n", ("bad-value", "cameras[2].power.peak")),
    bad_site("a way to be unpowered there is none", "    bus_id: 300\n", "    bus_id: 300\n    unpowered: «dies\n", ("bad-value", "cameras[2].unpowered")),
    bad_site("a frame rate of nothing", "    bus_id: 300\n", "    bus_id: 300\n    frame_rate: «50\n", ("bad-value", "cameras[2].frame_rate")),
    bad_site("a shutter of nothing", "    bus_id: 300\n", "    bus_id: 300\n    shutter: «1/0 s\n", ("bad-value", "cameras[2].shutter")),
    bad_site("a load of nothing", "    bus_id: 300\n", "    bus_id: 300\n    unit_load: «0\n", ("out-of-bounds", "cameras[2].unit_load")),
    bad_site("three wires", "    clients: 4\n", "    clients: 4\n    wires: «3\n", ("bad-value", "converters[0].wires")),
    bad_site("a network that is none", "    clients: 4\n", "    clients: 4\n    network: «198.51.100.1\n", ("bad-value", "converters[0].network")),
    bad_site("a gateway by name", "    clients: 4\n", "    clients: 4\n    gateway: «router\n", ("bad-value", "converters[0].gateway")),
    bad_site("a bias that is no switch", "    format: 8N1\n", "    format: 8N1\n    bias: «maybe\n", ("wrong-kind", "lines[1].bias")),
    bad_site("a bias elsewhere", "    format: 8N1\n", "    format: 8N1\n    bias: {at: [«left mat]}\n", ("not-on-a-line", "lines[1].bias.at[0]")),
    bad_site("a cable of no gauge", "    format: 8N1\n", "    format: 8N1\n    cable: {gauge: «thin}\n", ("bad-value", "lines[1].cable.gauge")),
    bad_site("ohms of a camera", "      - camera: finish\n", "      - «camera: finish\n        ohms: 120 ohm\n", ("bad-value", "lines[1].order[1]")),
]  # fmt: skip

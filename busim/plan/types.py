"""The data of a plan after reading: frozen, without any simulator.

Times are integer nanoseconds, lengths metres (float), rates per second (float), baud a Fraction.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from busim.foundation.units import CharFormat, FrameRate, Spread
from busim.plan.site import BiasPlan, CablePlan, MeasuredPlan, PlacePlan, PowerPlan, SilencedPlan, SparePlan, SupplyPlan


@dataclass(frozen=True, slots=True)
class Place:
    """A position on a line, in order from one end: `kind` is camera, converter, master, port (a real one,
    by its target) or terminator.

    `metres` from the first position of the line. `gauge` (AWG) of the cable from the previous position, None: that
    of the line. `stub`: metres from the line to the station. `ohms` and `capacitor` (F in series, None without) are of
    a terminator. A built-in terminator of a station is no position; it is a value of the station. `supply_pair`:
    joined, past (it goes by the station, which has a supply of its own) or cut (it ends before this position).
    """

    kind: str
    name: str
    metres: float
    gauge: float | None = None
    stub: float = 0.0
    ohms: float | None = None
    capacitor: float | None = None
    supply_pair: str = "joined"


@dataclass(frozen=True, slots=True)
class DriverPlan:
    """How a station drives the pair and hears it.

    `lead`: ns from driver enable to the first start bit, negative: enabled late. `hold`: ns from the end
    of the last stop bit to release, negative: cut short. `clock_ppm`: error of the station's clock.
    `baud` and `format`: None if the station has the values of the line.
    """

    baud: Fraction | None = None
    format: CharFormat | None = None
    clock_ppm: float = 0.0
    swapped: bool = False
    echo: bool = False
    lead: int = 0
    hold: int = 0
    fail_safe: bool = False


@dataclass(frozen=True, slots=True)
class LinePlan:
    """One shared pair. `contention` is space-wins, random or nearer-wins."""

    name: str
    baud: Fraction
    format: CharFormat
    protocol: str
    order: tuple[Place, ...]
    contention: str = "space-wins"
    biased: bool = True
    velocity: float = 0.66  # of light, for the propagation delay
    bit_error_rate: float = 0.0
    chatter: float = 0.0  # false start bits per second on an undriven line without bias
    bias: BiasPlan = BiasPlan()  # details of the bias; unused unless `biased`
    cable: CablePlan = CablePlan()


@dataclass(frozen=True, slots=True)
class CameraPlan:
    """One camera. `bus_id` is its bus ID as found on site; `present` False means dead or not connected.

    `factory_id`, `factory_baud`, `factory_format`: as delivered. `unpowered`: what it does to the pair without supply,
    passes, loads or cuts. `unit_load`: part of a standard receiver that it is. None in one of these, in `power` or
    `firmware`: the value comes from the model. `terminator` and `bias`: switched on inside it. `shutter`: seconds,
    None: not planned.
    """

    name: str
    model: str
    bus_id: int
    turnaround: Spread
    serial: int = 0
    present: bool = True
    driver: DriverPlan = DriverPlan()
    place: str | None = None
    factory_id: int | None = None
    factory_baud: Fraction | None = None
    factory_format: CharFormat | None = None
    firmware: str | None = None
    supply: str | None = None
    power: PowerPlan = PowerPlan()
    unpowered: str | None = None
    unit_load: float | None = None
    terminator: bool = False
    bias: bool = False
    frame_rate: FrameRate | None = None
    shutter: Fraction | None = None
    measured: MeasuredPlan | None = None


@dataclass(frozen=True, slots=True)
class ClientsPlan:
    """How a converter treats its clients; times in ns, 0: never.

    `most` at once; `when_full`: refuse, drop-oldest or accept-and-ignore. `sharing`: replies-to-all, or arbitrated, and
    `arbitration_time_out` is the time-out for a reply. `hold_slot`: idle time-out after which a vanished client loses
    its slot. `idle_way`: close, reset or ignore, after `idle_close`. `keep_alive_to`: network or line.
    `stale`: bytes from the line that are kept for the next client while none is connected.
    """

    most: int = 4
    when_full: str = "refuse"
    sharing: str = "replies-to-all"
    arbitration_time_out: int = 1_000_000_000
    hold_slot: int = 0
    idle_close: int = 0
    idle_way: str = "close"
    greeting: bytes = b""
    keep_alive: bytes = b""
    keep_alive_every: int = 0
    keep_alive_to: str = "network"
    stale: int = 0


@dataclass(frozen=True, slots=True)
class ConverterPlan:
    """One Ethernet-to-serial converter port.

    `packing_idle`: ns of silence after which collected bytes go to the network (0: each byte at once).
    `packing_length`: number of bytes that are forwarded at once (0: no limit). `packing_delimiter`: bytes
    after which a packet is forwarded at once (empty: none).
    `latency`: ns from the network to the line and from the line to the network, each way.
    `transport`: tcp or udp. `rfc2217`: off, applies, acknowledges, answers-other or silent. `dials`: the address it
    connects to (over UDP: its only peer), None: it listens; `redial`: ns between two
    attempts. `reboots`: instant and length of each; `when_down`: refuse or hang, for a client
    that connects meanwhile.

    `factory_address`: IPv4 address as delivered; `network` (198.51.100.0/24) and `gateway` as set on site. `box`: the
    device of several ports that it belongs to, `box_port` the number on that. `wires`: 2 or 4. `terminator` and `bias`:
    switched on inside it. `unit_load`: part of a standard receiver that it is. `supply`: name of its supply.
    `real_port`: the real port that stands here in a served session.
    """

    name: str
    host: str
    port: int
    packing_idle: int
    packing_length: int = 0
    latency: Spread = Spread(1_000_000, 1_000_000)
    clients: ClientsPlan = ClientsPlan()
    packing_delimiter: bytes = b""
    transport: str = "tcp"
    rfc2217: str = "off"
    dials: tuple[str, int] | None = None
    redial: int = 1_000_000_000
    reboots: tuple[tuple[int, int], ...] = ()
    when_down: str = "refuse"
    driver: DriverPlan = DriverPlan()
    place: str | None = None
    factory_address: str | None = None
    network: str | None = None
    gateway: str | None = None
    box: str | None = None
    box_port: int | None = None
    wires: int = 2
    terminator: bool = False
    bias: bool = False
    unit_load: float = 1.0
    supply: str | None = None
    power: PowerPlan = PowerPlan()
    measured: MeasuredPlan | None = None
    real_port: str | None = None


@dataclass(frozen=True, slots=True)
class PollGroup:
    """Values that are polled together. `every`: poll interval of each camera in ns, 0: no pause."""

    name: str
    values: tuple[str, ...]
    every: int = 0


@dataclass(frozen=True, slots=True)
class MasterPlan:
    """One program that polls cameras, directly on lines (`on`) or behind converters (`through`).

    `time_out` None: computed from wire, turnaround, packing and latency. `gap`: ns of pause between two
    exchanges, if longer than the protocol requires. `listen`: ns of silence before it sends, 0: it does not wait.
    `back_off`: ns, mean wait of one that listens before it listens again to a busy line; 0: until the line is quiet.
    `cameras` empty: every camera of its lines.
    """

    name: str
    on: tuple[str, ...] = ()
    through: tuple[str, ...] = ()
    cameras: tuple[str, ...] = ()
    groups: tuple[PollGroup, ...] = ()
    time_out: int | None = None
    retries: int = 2
    gap: int = 0
    listen: int = 0
    back_off: int = 0
    offline_after: int = 3
    starts_at: int = 0
    driver: DriverPlan = DriverPlan()


@dataclass(frozen=True, slots=True)
class JoystickPlan:
    """A joystick that is moved all the time. `rate`: positions per second, each a move of every one of its controls on
    one camera; `jitter`: ns by which one is late at most, evenly drawn.
    """

    camera: str
    controls: tuple[str, ...]
    rate: float
    jitter: int = 0


@dataclass(frozen=True, slots=True)
class PanelPlan:
    """A panel: its controls, the cameras they move, and the master between. `moves`: operator moves per second, not
    counting the positions of its `joysticks`.
    """

    name: str
    master: str
    cameras: tuple[str, ...]
    controls: tuple[str, ...]
    moves: float = 0.0
    place: str | None = None
    joysticks: tuple[JoystickPlan, ...] = ()


@dataclass(frozen=True, slots=True)
class ExpectPlan:
    """A bound of a figure: names of lines or cameras (or `every line`, `every camera`), bounds as written."""

    figure: str
    of: tuple[str, ...]
    at_least: str | None = None
    at_most: str | None = None


@dataclass(frozen=True, slots=True)
class FaultPlan:
    """A fault or preset on names of cameras, converters or lines (or `every camera` ...); times in ns, `length` and
    `every` 0 for to the end, and once. `after`: the event that it waits for (mark, change or effect; text; of whom, ""
    for any), None: `at` counts from the start. `parameters`: as text.
    """

    fault: str
    on: tuple[str, ...]
    at: int = 0
    length: int = 0
    every: int = 0
    after: tuple[str, str, str] | None = None
    parameters: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole installation. `source` is the text it was read from, `path` its file.

    `positions` has the line and column (from 1) of every value that was written, by field path. `files`: the texts of
    the files beside it that it names, by those names, so that a trace can keep them with the plan. `as_read`: the
    fingerprint of the data when they were read, which shows whether a plan was changed in memory.
    """

    name: str
    lines: tuple[LinePlan, ...]
    cameras: tuple[CameraPlan, ...]
    converters: tuple[ConverterPlan, ...] = ()
    masters: tuple[MasterPlan, ...] = ()
    panels: tuple[PanelPlan, ...] = ()
    expect: tuple[ExpectPlan, ...] = ()
    faults: tuple[FaultPlan, ...] = ()
    places: tuple[PlacePlan, ...] = ()
    supplies: tuple[SupplyPlan, ...] = ()
    spares: tuple[SparePlan, ...] = ()
    silenced: tuple[SilencedPlan, ...] = ()
    source: str = ""
    path: str = ""
    positions: Mapping[str, tuple[int, int]] = field(default_factory=dict, compare=False, repr=False)
    files: Mapping[str, str] = field(default_factory=dict, compare=False, repr=False)
    as_read: str = field(default="", compare=False, repr=False)

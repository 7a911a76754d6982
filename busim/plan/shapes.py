"""The shape of a plan file, version 1, as pydantic models: which keys there are, what each holds, its default.

A shape judges one place of the file alone. Checks that compare two places (a name that must exist, an endpoint used
twice) are in checks.py.
"""

from typing import Annotated, Any, Literal, Self

from pydantic import Field, GetJsonSchemaHandler, model_validator
from pydantic_core import PydanticKnownError

from busim.foundation.errors import UserError
from busim.foundation.schema import Shape, Word, has, refusal
from busim.plan.expect_shapes import ExpectShape
from busim.plan.fault_shapes import FaultShape
from busim.plan.fields import (
    Address,
    Baud,
    Chatter,
    Farads,
    Format,
    Frames,
    Gauge,
    Host,
    Length,
    Network,
    Octets,
    Ohms,
    OwnPace,
    Ppm,
    Redial,
    ShortTime,
    Shutter,
    SignedTime,
    SomeOctets,
    Time,
    TimeOut,
    TimeSpread,
)
from busim.plan.panel_shapes import PanelShape
from busim.plan.site_shapes import (
    BiasShape,
    BusId,
    CableShape,
    MeasuredShape,
    PlaceShape,
    PowerShape,
    SerialNumber,
    SilencedShape,
    SpareShape,
    SupplyShape,
    Text,
    UnitLoad,
)

MEASURED_CAMERA = {"turnaround": "4.8..5.3 ms", "reads": 100, "on": "2026-11-29"}
MEASURED_BOX = {"packing": "4.1 ms", "reads": 100, "on": "2026-11-29"}
STANDS = ("camera", "converter", "master", "port", "terminator")


class DriverShape(Shape):
    """How a station drives the pair and hears it; a field left out has the value of the line."""

    baud: Baud | None = has("this station's baud; default: that of the line", "9600 Bd", None)
    format: Format | None = has("this station's character format; default: that of the line", "8N1", None)
    clock: Ppm = has("error of the station's clock", "200 ppm", "0")
    swapped: bool = has("the two wires of the pair are swapped", default=False)
    echo: bool = has("the station receives its own echo", default=False)
    lead: SignedTime = has("time from driver enable to the first start bit; negative: enabled late", "20 us", "0")
    hold: SignedTime = has("time from the last stop bit to driver release; negative: cut short", "20 us", "0")
    fail_safe: bool = has("reads an undriven pair as idle", default=False)


class StandShape(Shape):
    """One position of an order: `terminator`, a real port, or one of camera, converter, master with its name."""

    terminator: bool | None = has("a terminating resistor", True, None)
    converter: Word | None = has("name of a converter", "boulder box", None)
    camera: Word | None = has("name of a camera", "left mat", None)
    master: Word | None = has("name of a master that is on the line itself", "controller", None)
    port: Text | None = has(
        "a real port that stands here as a station, with all that is behind it: a serial port of this machine, or "
        "socket:// or rfc2217:// of a box; joined by `busim serve` alone",
        "/dev/ttyUSB0",
        None,
    )
    after: Length = has("length of cable from the previous position", "12 m", "0")
    gauge: Gauge | None = has("gauge of that cable; default: that of the line", "AWG 22", None)
    stub: Length = has("length of cable from the line to the station", "0.3 m", "0")
    ohms: Ohms | None = has("resistance of a terminator; default: 120 ohm", "150 ohm", None)
    capacitor: Farads | None = has("capacitor in series with that resistor; default: none", "1 nF", None)
    supply_pair: Literal["joined", "past", "cut"] = has(
        "supply pair at this position. joined: the station is on it; past: it goes by, and the station has a supply of "
        "its own; cut: it ends before this position. The data pair goes on in each case",
        "past",
        "joined",
    )

    @model_validator(mode="before")
    @classmethod
    def spelled_out(cls, value: Any) -> Any:
        if value == "terminator":
            return {"terminator": True}
        kinds = [kind for kind in STANDS if isinstance(value, dict) and kind in value]
        if isinstance(value, str) or (isinstance(value, dict) and len(kinds) != 1):
            raise refusal(
                UserError(
                    "not a position of a line",
                    expected="exactly one of " + ", ".join(STANDS),
                    mend="write `- camera: left mat` or `- terminator`, for example",
                )
            )
        if isinstance(value, dict) and value[kinds[0]] is None:
            if kinds != ["terminator"]:
                raise refusal(
                    UserError(
                        f"this {kinds[0]} has no name",
                        expected=f"the name of a {kinds[0]}",
                        mend="write the name after the colon",
                    )
                )
            return {**value, "terminator": True}
        if isinstance(value, dict) and "terminator" not in value and not {"ohms", "capacitor"}.isdisjoint(value):
            raise refusal(
                UserError(
                    "only a terminator has a resistor",
                    expected="`ohms` and `capacitor` only beside `terminator`",
                    mend="move them to the terminator, or delete them",
                )
            )
        if isinstance(value, dict) and value.get("terminator") is False:
            raise refusal(
                UserError("a terminator cannot be false", expected="`terminator`", mend="delete this position")
            )
        return value

    @classmethod
    def out_of_place(cls, value: dict[str, Any]) -> set[str]:
        """The keys that a position of this kind cannot have."""
        others = {kind for kind in STANDS if kind not in value}
        return others | ({"ohms", "capacitor"} if "terminator" not in value else set())

    @classmethod
    def __get_pydantic_json_schema__(cls, core: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"anyOf": [{"const": "terminator"}, handler(core)]}


class LineShape(Shape):
    """One shared pair with its stations."""

    name: Word = has("name of the line", "boulder wall")
    baud: Baud = has("baud of the line", "38400 Bd")
    format: Format = has("character format", "8E1")
    protocol: Word = has("protocol of the line", "modbus-rtu")
    contention: Literal["space-wins", "random", "nearer-wins"] = has(
        "what a receiver sees when two stations drive against each other", default="space-wins"
    )
    bias: BiasShape = has("fail-safe bias that keeps the undriven pair idle", True, True)
    cable: CableShape = has("cable of the line", {"gauge": "AWG 24", "impedance": "120 ohm"}, {})
    velocity: float = has(
        "speed of propagation, as a share of the speed of light", 0.66, 0.66, gt=0, le=1, allow_inf_nan=False
    )
    bit_error_rate: float = has("probability that a bit flips", 0.0001, 0.0, ge=0, le=0.01, allow_inf_nan=False)
    chatter: Chatter = has("rate of false start bits while no station drives a line without bias", "20 /s", "0")
    order: list[StandShape] = has("positions in order, from one end of the cable to the other", default=[])


class PackingShape(Shape):
    """When a converter forwards the bytes that it has collected from the line."""

    idle: ShortTime = has("after this much silence; 0: each byte at once", "4 ms", "4 ms")
    length: Annotated[int, Field(ge=0, le=65536)] = has("after this number of bytes; 0: no limit", 64, 0)
    delimiter: Octets = has("after these bytes, in hexadecimal; empty: none", "0D 0A", "")


class KeepAliveShape(Shape):
    """Bytes that a converter sends by itself when a direction is silent."""

    every: OwnPace = has("after this much silence in that direction, 1 ms or more; 0: never", "60 s", "0")
    bytes: SomeOctets = has("the bytes, in hexadecimal", "00", "00")
    to: Literal["network", "line"] = has("direction: to its clients, or into the line", default="network")


class ClientsShape(Shape):
    """How a converter treats its clients."""

    most: Annotated[int, Field(ge=1, le=256)] = has("number of client slots", 4, 4)
    when_full: Literal["refuse", "drop-oldest", "accept-and-ignore"] = has(
        "what happens to a client when all slots are taken", default="refuse"
    )
    sharing: Literal["replies-to-all", "arbitrated"] = has(
        "clients send at any time and all get every reply; or one request at a time, its reply to its sender",
        default="replies-to-all",
    )
    arbitration_time_out: Time = has("arbitrated: time-out for a reply", "300 ms", "1 s")
    hold_slot: Time = has("idle time-out after which a vanished client loses its slot", "120 s", "0")
    idle_close: Time | None = has(
        "idle time-out of a connection, in both directions; over UDP: after which a client is forgotten; 0: never; "
        "default: never, over UDP 1 min",
        "10 min",
        None,
    )
    idle_way: Literal["close", "reset", "ignore"] = has(
        "how an idle connection ends; ignore: it stays open and dead", default="close"
    )
    greeting: Octets = has("bytes sent to each new client, in hexadecimal", "48 49 0D 0A", "")
    keep_alive: KeepAliveShape = has("bytes that it sends by itself", {"every": "60 s", "bytes": "00"}, {})
    stale: Annotated[int, Field(ge=0, le=65536)] = has(
        "number of bytes from the line that it keeps for the next client while none is connected", 512, 0
    )

    @model_validator(mode="before")
    @classmethod
    def spelled_out(cls, value: Any) -> Any:
        """`clients: 4` is short for `clients: {most: 4}`."""
        if not isinstance(value, int) or isinstance(value, bool):
            return value
        if not 1 <= value <= 256:
            kind: Literal["greater_than_equal", "less_than_equal"]
            kind = "greater_than_equal" if value < 1 else "less_than_equal"
            raise PydanticKnownError(kind, {"ge": 1} if value < 1 else {"le": 256})
        return {"most": value}

    @classmethod
    def __get_pydantic_json_schema__(cls, core: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"anyOf": [{"type": "integer", "minimum": 1, "maximum": 256}, handler(core)]}


class RebootShape(Shape):
    """A reboot of a converter: every connection breaks, and it is down for a while."""

    at: Time = has("when it reboots", "10 s")
    down: Time = has("how long it is down", "8 s", "8 s")


class ConverterShape(Shape):
    """One Ethernet-to-serial converter port."""

    name: Word = has("name of the converter", "boulder box")
    endpoint: Address = has("address and port it listens on", "198.51.100.44:15001")
    port: Text | None = has(
        "real port that stands here: a serial port of this machine, or socket:// or rfc2217:// of a box; used by "
        "`busim serve` alone",
        "/dev/ttyUSB0",
        None,
    )
    packing: PackingShape = has("when collected bytes are forwarded to the network", {"idle": "4 ms", "length": 0}, {})
    latency: TimeSpread = has("delay between network and line, each way", "1 ms", "1 ms")
    clients: ClientsShape = has("number of client slots, or the full settings for clients", 4, {})
    transport: Literal["tcp", "udp"] = has("TCP connections, or UDP datagrams without connections", default="tcp")
    rfc2217: Literal["off", "applies", "acknowledges", "answers-other", "silent"] = has(
        "COM port control over Telnet: reaction to a client that sets the port; off: a raw connection", default="off"
    )
    dials: Address | None = has(
        "address and port of the controller that it connects to; default: it listens", "198.51.100.5:4000", None
    )
    redial: Redial = has("if it dials: time between two attempts, 10 ms or more", "1 s", "1 s")
    reboots: list[RebootShape] = has("its reboots during the run", [{"at": "10 s"}], [])
    when_down: Literal["refuse", "hang"] = has(
        "what happens to a client that connects while it is down: refusal at once, or no answer", default="refuse"
    )
    driver: DriverShape = has("how it drives the pair", default={})
    place: Word | None = has("name of its place", "boulder wall", None)
    factory_address: Host | None = has("its address as delivered", "192.0.2.10", None)
    network: Network | None = has("its configured network", "198.51.100.0/24", None)
    gateway: Host | None = has("its configured gateway", "198.51.100.1", None)
    box: Word | None = has("name of the multi-port device that it belongs to", "hall rack", None)
    box_port: Annotated[int, Field(ge=1, le=256)] | None = has("number of its port on that device", 2, None)
    wires: Literal[2, 4] = has("wires of its line: 2, or 4 with a pair for each direction", 2, 2)
    terminator: bool = has("its built-in terminator is switched on", default=False)
    bias: bool = has("its built-in bias is switched on", default=False)
    unit_load: UnitLoad = has("its load on the line, in unit loads", 0.125, 1.0)
    supply: Word | None = has("name of the supply that feeds it", "wall supply", None)
    power: PowerShape = has("its power from the supply", "3 W", {})
    measured: MeasuredShape | None = has("what was measured of it on site", MEASURED_BOX, None)

    @model_validator(mode="after")
    def _speaks_so(self) -> Self:
        if self.transport == "udp" and self.rfc2217 != "off":
            raise refusal(
                UserError(
                    "COM port control needs a connection",
                    expected="`rfc2217: off` if `transport` is udp: Telnet needs TCP",
                    mend="delete one of the two",
                )
            )
        return self


class CameraShape(Shape):
    """One camera."""

    name: Word = has("name of the camera", "left mat")
    model: Word = has(
        "camera model, or a file beside this one, such as ./our-camera.yaml", "zoom-camera", "zoom-camera"
    )
    bus_id: BusId = has("its bus ID as found on site", 1)
    serial: SerialNumber = has("serial number", 4101, 0)
    turnaround: TimeSpread | None = has(
        "time from the end of a request to the start of the reply; default: from the model", "2..6 ms", None
    )
    present: bool = has("false: dead or not connected", default=True)
    driver: DriverShape = has("how it drives the pair", default={})
    place: Word | None = has("name of its place", "boulder wall", None)
    factory_id: BusId | None = has("its bus ID as delivered; default: from the model", 1, None)
    factory_baud: Baud | None = has("its baud as delivered; default: from the model", "9600 Bd", None)
    factory_format: Format | None = has("its character format as delivered; default: from the model", "8N1", None)
    firmware: Text | None = has("version of its firmware", "2.4", None)
    supply: Word | None = has("name of the supply that feeds it", "wall supply", None)
    power: PowerShape = has("its power from the supply", {"idle": "4 W", "peak": "6..8 W"}, {})
    unpowered: Literal["passes", "loads", "cuts"] | None = has(
        "without supply it passes the pair through, loads it or cuts it; default: from the model", "passes", None
    )
    unit_load: UnitLoad | None = has("its load on the line, in unit loads; default: from the model", 0.25, None)
    terminator: bool = has("its built-in terminator is switched on", default=False)
    bias: bool = has("its built-in bias is switched on", default=False)
    frame_rate: Frames | None = has("planned frames per second (p), or fields (i)", "50p", None)
    shutter: Shutter | None = has("planned shutter time", "1/100 s", None)
    measured: MeasuredShape | None = has("what was measured of it on site", MEASURED_CAMERA, None)


class GroupShape(Shape):
    """Values that are polled together."""

    name: Word = has("name of the poll group", "fast")
    values: Annotated[list[Word], Field(min_length=1)] = has("parameters to read", ["iris", "gain"])
    every: Time = has("poll interval of each camera; 0: as often as the line allows", "1 s", "0")


class MasterShape(Shape):
    """One program that polls cameras, through converters or directly on lines."""

    name: Word = has("name of the master", "controller")
    on: list[Word] = has("lines that it is connected to directly", ["boulder wall"], [])
    through: list[Word] = has("converters through which it reaches its lines", ["boulder box"], [])
    cameras: list[Word] = has("cameras that it asks; default: all on its lines", ["left mat"], [])
    groups: list[GroupShape] = has("its poll groups", [{"name": "fast", "values": ["iris"], "every": 0}], [])
    time_out: TimeOut = has("time-out for a reply", "250 ms", "computed")
    retries: Annotated[int, Field(ge=0, le=100)] = has("attempts after the first", 2, 2)
    gap: ShortTime = has(
        "pause between two exchanges; the silence of the protocol holds if that is longer", "1 ms", "0"
    )
    listen: ShortTime = has("silence that it waits for before it sends; 0: it does not wait", "2 ms", "0")
    back_off: ShortTime = has(
        "mean of a random wait before it listens again to a line that was busy; 0: it sends once the line is quiet",
        "20 ms",
        "0",
    )
    offline_after: Annotated[int, Field(ge=1, le=10_000)] = has(
        "failures in a row, over at least 1 s, until a camera counts as offline", 3, 3
    )
    starts_at: Time = has("when it starts", "2 s", "0")
    driver: DriverShape = has("how it drives the pair, if it is on a line", default={})


class PlanShape(Shape):
    """A camera bus installation: lines, their stations, masters and panels."""

    busim: Literal[1] = has("version of the plan format", 1)
    name: Word = has("name of the installation", "climbing hall")
    lines: Annotated[list[LineShape], Field(min_length=1)] = has("the shared pairs")
    converters: list[ConverterShape] = has("Ethernet-to-serial converters", default=[])
    cameras: list[CameraShape] = has("the cameras", default=[])
    masters: list[MasterShape] = has("programs that poll cameras", default=[])
    panels: list[PanelShape] = has("panels of the operators", default=[])
    expect: list[ExpectShape] = has("bounds for the figures of a run", [{"figure": "time_outs", "at_most": 0}], [])
    faults: list[FaultShape] = has(
        "faults, each with its place and time", [{"fault": "late-reply", "on": "rope left", "at": "10 s"}], []
    )
    places: list[PlaceShape] = has("places of the site", default=[])
    supplies: list[SupplyShape] = has("sources of power", default=[])
    spares: list[SpareShape] = has("units kept for a swap", default=[])
    silenced: list[SilencedShape] = has("silenced rules, each with its reason", default=[])
    rehearsal: dict[str, Any] = has("its commissioning: times of work by hand, and steps", default={})

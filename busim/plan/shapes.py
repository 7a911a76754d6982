"""The shape of a plan file, version 1, as pydantic models: which keys there are, what each holds, its default.

Shapes say what can be said about one place of the file alone; whatever looks at two places (a name that must
exist, an endpoint used twice) is in checks.py.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

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
    Moves,
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
from busim.plan.site_shapes import (
    BiasShape,
    BusId,
    CableShape,
    PlaceShape,
    PowerShape,
    SerialNumber,
    SilencedShape,
    SpareShape,
    SupplyShape,
    Text,
    UnitLoad,
)

STANDS = ("camera", "converter", "master", "terminator")


class DriverShape(Shape):
    """How a station drives the pair and hears it; what is left out is as on the line."""

    baud: Baud | None = has("this station's baud; not written: as on the line", "9600 Bd", None)
    format: Format | None = has("this station's character format; not written: as on the line", "8N1", None)
    clock: Ppm = has("error of the station's clock", "200 ppm", "0")
    swapped: bool = has("the pair is connected the wrong way round", default=False)
    echo: bool = has("the station hears what it sends", default=False)
    lead: SignedTime = has("from driver enable to the first start bit; negative: enabled late", "20 us", "0")
    hold: SignedTime = has("from the last stop bit to release; negative: cut short", "20 us", "0")
    fail_safe: bool = has("reads an undriven pair as idle", default=False)


class StandShape(Shape):
    """One position of a line's order: `terminator` alone, or one of camera, converter, master with its name."""

    terminator: bool | None = has("a terminating resistor", True, None)
    converter: Word | None = has("name of a converter", "boulder box", None)
    camera: Word | None = has("name of a camera", "left mat", None)
    master: Word | None = has("name of a master that is on the line itself", "controller", None)
    after: Length = has("length of cable from the position before", "12 m", "0")
    gauge: Gauge | None = has("gauge of that cable; not written: as the cable of the line", "AWG 22", None)
    stub: Length = has("length of cable from the line to the station", "0.3 m", "0")
    ohms: Ohms | None = has("resistance of a terminator; not written: 120 ohm", "150 ohm", None)
    capacitor: Farads | None = has("capacitor in series with that resistor; not written: none", "1 nF", None)

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
                    mend="write for example `- camera: left mat`, or `- terminator`",
                )
            )
        if isinstance(value, dict) and value[kinds[0]] is None:
            if kinds != ["terminator"]:
                raise refusal(
                    UserError(
                        f"a {kinds[0]} without its name",
                        expected=f"the name of a {kinds[0]}",
                        mend="write it after the colon",
                    )
                )
            return {**value, "terminator": True}
        if isinstance(value, dict) and "terminator" not in value and not {"ohms", "capacitor"}.isdisjoint(value):
            raise refusal(
                UserError(
                    "a resistor in a position that is no terminator",
                    expected="`ohms` and `capacitor` beside `terminator` alone",
                    mend="move them to the terminator, or delete them",
                )
            )
        if isinstance(value, dict) and value.get("terminator") is False:
            raise refusal(UserError("a terminator that is none", expected="`terminator`", mend="delete this position"))
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
    """One shared pair and who stands on it."""

    name: Word = has("name of the line", "boulder wall")
    baud: Baud = has("baud of the line", "38400 Bd")
    format: Format = has("character format", "8E1")
    protocol: Word = has("what is spoken on the line", "modbus-rtu")
    contention: Literal["space-wins", "random", "nearer-wins"] = has(
        "what a receiver sees where two drive against each other", default="space-wins"
    )
    bias: BiasShape = has("a fail-safe bias keeps the undriven pair idle", True, True)
    cable: CableShape = has("its cable", {"gauge": "AWG 24", "impedance": "120 ohm"}, {})
    velocity: float = has("propagation, as a part of the speed of light", 0.66, 0.66, gt=0, le=1, allow_inf_nan=False)
    bit_error_rate: float = has("chance of each bit to be flipped", 0.0001, 0.0, ge=0, le=0.01, allow_inf_nan=False)
    chatter: Chatter = has("false start bits while nobody drives a line without bias", "20 /s", "0")
    order: list[StandShape] = has("positions from one end of the cable to the other", default=[])


class PackingShape(Shape):
    """When a converter sends on what it has collected from the line."""

    idle: ShortTime = has("after so much silence; 0: each byte at once", "4 ms", "4 ms")
    length: Annotated[int, Field(ge=0, le=65536)] = has("at so many bytes; 0: no such limit", 64, 0)
    delimiter: Octets = has("behind these bytes, in hexadecimal; empty: none", "0D 0A", "")


class KeepAliveShape(Shape):
    """Bytes that a converter sends by itself when nothing else goes that way."""

    every: OwnPace = has("after so much silence that way, 1 ms or more; 0: never", "60 s", "0")
    bytes: SomeOctets = has("what it sends, in hexadecimal", "00", "00")
    to: Literal["network", "line"] = has("to its clients, or into the line", default="network")


class ClientsShape(Shape):
    """How a converter treats its clients."""

    most: Annotated[int, Field(ge=1, le=256)] = has("how many at once", 4, 4)
    when_full: Literal["refuse", "drop-oldest", "accept-and-ignore"] = has("what becomes of one more", default="refuse")
    sharing: Literal["replies-to-all", "arbitrated"] = has(
        "all send when they like and get every reply, or one request at a time and the reply to who asked",
        default="replies-to-all",
    )
    arbitration_time_out: Time = has("arbitrated: how long a reply may take", "300 ms", "1 s")
    hold_slot: Time = has("who goes without an end of the connection keeps its slot for so long", "120 s", "0")
    idle_close: Time | None = has(
        "no byte either way for so long ends a connection; over UDP: none from it for so long, and it is forgotten; 0: "
        "never; not written: never, over UDP 1 min",
        "10 min",
        None,
    )
    idle_way: Literal["close", "reset", "ignore"] = has("how it ends; ignore: it stays and is dead", default="close")
    greeting: Octets = has("bytes sent to who connects, in hexadecimal", "48 49 0D 0A", "")
    keep_alive: KeepAliveShape = has("bytes it sends by itself", {"every": "60 s", "bytes": "00"}, {})
    stale: Annotated[int, Field(ge=0, le=65536)] = has(
        "how many bytes of the line it keeps for who comes, while nobody is there", 512, 0
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
    """A converter starts anew: every connection breaks off, and for a while it is not there."""

    at: Time = has("when", "10 s")
    down: Time = has("how long it is not there", "8 s", "8 s")


class ConverterShape(Shape):
    """One Ethernet-to-serial converter port."""

    name: Word = has("name of the converter", "boulder box")
    endpoint: Address = has("address and port it listens on", "198.51.100.44:15001")
    packing: PackingShape = has("when collected bytes go to the network", {"idle": "4 ms", "length": 0}, {})
    latency: TimeSpread = has("from network to line and back, each way", "1 ms", "1 ms")
    clients: ClientsShape = has("how many clients at once, or more about them", 4, {})
    transport: Literal["tcp", "udp"] = has("TCP connections, or UDP datagrams without any", default="tcp")
    rfc2217: Literal["off", "applies", "acknowledges", "answers-other", "silent"] = has(
        "COM port control over Telnet: what it does when a client sets the port; off: a raw connection", default="off"
    )
    dials: Address | None = has(
        "address of the controller that it connects to; not written: it listens", "198.51.100.5:4000", None
    )
    redial: Redial = has("where it dials: from one attempt to the next, 10 ms or more", "1 s", "1 s")
    reboots: list[RebootShape] = has("when it starts anew while it runs", [{"at": "10 s"}], [])
    when_down: Literal["refuse", "hang"] = has(
        "what becomes of who connects while it is down: refused at once, or left without an answer", default="refuse"
    )
    driver: DriverShape = has("how it drives the pair", default={})
    place: Word | None = has("name of the place where it is", "boulder wall", None)
    factory_address: Host | None = has("its address as delivered", "192.0.2.10", None)
    network: Network | None = has("network it is set to", "198.51.100.0/24", None)
    gateway: Host | None = has("gateway it is set to", "198.51.100.1", None)
    box: Word | None = has("device of several ports that it is a port of", "hall rack", None)
    box_port: Annotated[int, Field(ge=1, le=256)] | None = has("number of its port on that", 2, None)
    wires: Literal[2, 4] = has("wires of its line: 2, or 4 with a pair for each direction", 2, 2)
    terminator: bool = has("its built-in terminator is switched on", default=False)
    bias: bool = has("its built-in bias is switched on", default=False)
    unit_load: UnitLoad = has("its load on the line, in unit loads", 0.125, 1.0)
    supply: Word | None = has("name of the supply that feeds it", "wall supply", None)
    power: PowerShape = has("what it takes from its supply", "3 W", {})

    @model_validator(mode="after")
    def _speaks_so(self) -> ConverterShape:
        if self.transport == "udp" and self.rfc2217 != "off":
            raise refusal(
                UserError(
                    "COM port control without a connection",
                    expected="`rfc2217: off` where `transport` is udp: Telnet needs TCP",
                    mend="delete one of the two",
                )
            )
        return self


class CameraShape(Shape):
    """One camera."""

    name: Word = has("name of the camera", "left mat")
    model: Word = has("camera model, or a file beside this one, as ./our-camera.yaml", "zoom-camera", "zoom-camera")
    id: BusId = has("its bus ID as found on site", 1)
    serial: SerialNumber = has("serial number", 4101, 0)
    turnaround: TimeSpread | None = has(
        "from the end of a request to the start of the reply; not written: as the model says", "2..6 ms", None
    )
    present: bool = has("false: dead or not connected", default=True)
    driver: DriverShape = has("how it drives the pair", default={})
    place: Word | None = has("name of the place where it is", "boulder wall", None)
    factory_id: BusId | None = has("its bus ID as delivered; not written: as the model says", 1, None)
    firmware: Text | None = has("version of its firmware", "2.4", None)
    supply: Word | None = has("name of the supply that feeds it", "wall supply", None)
    power: PowerShape = has("what it takes from its supply", {"idle": "4 W", "peak": "6..8 W"}, {})
    unpowered: Literal["passes", "loads", "cuts"] | None = has(
        "without supply: passes the pair through, loads it or cuts it; not written: as the model says", "passes", None
    )
    unit_load: UnitLoad | None = has("its load on the line, in unit loads; not written: as the model says", 0.25, None)
    terminator: bool = has("its built-in terminator is switched on", default=False)
    bias: bool = has("its built-in bias is switched on", default=False)
    frame_rate: Frames | None = has("planned frames per second (p), or fields (i)", "50p", None)
    shutter: Shutter | None = has("planned shutter time", "1/100 s", None)


class GroupShape(Shape):
    """Values that are read together."""

    name: Word = has("name of the poll group", "fast")
    values: Annotated[list[Word], Field(min_length=1)] = has("parameters to read", ["iris", "gain"])
    every: Time = has("time between two polls of one camera; 0: as often as the line allows", "1 s", "0")


class MasterShape(Shape):
    """One program that asks: through converters, or on lines itself."""

    name: Word = has("name of the master", "controller")
    on: list[Word] = has("lines it stands on itself", ["boulder wall"], [])
    through: list[Word] = has("converters it reaches its lines through", ["boulder box"], [])
    cameras: list[Word] = has("cameras it asks; none named: all on its lines", ["left mat"], [])
    groups: list[GroupShape] = has("what it polls", [{"name": "fast", "values": ["iris"], "every": 0}], [])
    time_out: TimeOut = has("how long it waits for a reply", "250 ms", "computed")
    retries: Annotated[int, Field(ge=0, le=100)] = has("attempts after the first", 2, 2)
    gap: ShortTime = has("rest between two exchanges beyond what the protocol asks", "1 ms", "0")
    listen: ShortTime = has("quiet it waits for before it sends; 0: never", "2 ms", "0")
    offline_after: Annotated[int, Field(ge=1, le=10_000)] = has("failures until a camera counts as offline", 3, 3)
    starts_at: Time = has("when it begins to ask", "2 s", "0")
    driver: DriverShape = has("how it drives the pair, where it stands on a line", default={})


class PanelShape(Shape):
    """A panel: whose controls move which cameras, through which master."""

    name: Word = has("name of the panel", "desk")
    master: Word = has("the master that carries its moves", "controller")
    cameras: Annotated[list[Word], Field(min_length=1)] = has("cameras it controls", ["left mat"])
    controls: Annotated[list[Word], Field(min_length=1)] = has("parameters it moves", ["iris"])
    moves: Moves = has("operator moves per second", "0.5 /s", "0")
    place: Word | None = has("name of the place where it stands", "desk", None)


class PlanShape(Shape):
    """A camera bus installation: lines, what stands on them, who asks and who moves."""

    busim: Literal[1] = has("version of this form", 1)
    name: Word = has("name of the installation", "climbing hall")
    lines: Annotated[list[LineShape], Field(min_length=1)] = has("the shared pairs")
    converters: list[ConverterShape] = has("Ethernet-to-serial converters", default=[])
    cameras: list[CameraShape] = has("the cameras", default=[])
    masters: list[MasterShape] = has("programs that ask", default=[])
    panels: list[PanelShape] = has("panels of the operators", default=[])
    expect: list[ExpectShape] = has("what its figures shall be", [{"figure": "time_outs", "at_most": 0}], [])
    faults: list[FaultShape] = has(
        "what goes wrong, where and when", [{"fault": "late-reply", "on": "rope left", "at": "10 s"}], []
    )
    places: list[PlaceShape] = has("places of the site", default=[])
    supplies: list[SupplyShape] = has("sources of power", default=[])
    spares: list[SpareShape] = has("units kept for a swap", default=[])
    silenced: list[SilencedShape] = has("rules that shall say nothing, and why", default=[])
    rehearsal: dict[str, Any] = has("its commissioning: what hands take, and steps", default={})

"""The shape of a camera model, version 1, as pydantic models: which keys there are, what each holds, its default.

A shape judges one place alone. Checks that compare two places (a lock on a parameter, a default within its range) are
in parameters.py and relations.py.
"""

from fractions import Fraction
from typing import Annotated, Any, Literal

from pydantic import Field, PlainValidator

from busim.foundation.schema import Sentence, Shape, Word, has, offered, quantity
from busim.foundation.units import (
    CharFormat,
    Range,
    Spread,
    parse_baud,
    parse_power,
    parse_range,
    parse_rate,
    parse_spread,
    parse_time,
    parse_voltage,
    show_time,
)

_HOUR = 3600 * 10**9
MOST_PARAMETERS = 1000
MOST_SECTORS = 32


def _at_most_an_hour(value: int) -> str | None:
    return None if value <= _HOUR else f"at most {show_time(_HOUR)}"


def _turnaround(value: Spread) -> str | None:
    return None if value.high <= 60 * 10**9 else "at most 60 s"


def _speed(value: float) -> str | None:
    return None if 0 < value <= 10**7 else "more than 0 and at most 10000000 /s"


def _watts(value: float) -> str | None:
    return None if value <= 10_000 else "at most 10 kW"


def _volts(value: Range) -> str | None:
    return None if value.high <= 1000 else "at most 1000 V"


Count = Annotated[int, Field(ge=0, le=65535)]
Time = Annotated[int, PlainValidator(quantity(parse_time, _at_most_an_hour)), offered("500 ms")]
Turnaround = Annotated[Spread, PlainValidator(quantity(parse_spread, _turnaround)), offered("2..6 ms", "5 ms")]
Speed = Annotated[float, PlainValidator(quantity(parse_rate, _speed)), offered("250 /s")]
Power = Annotated[float, PlainValidator(quantity(parse_power, _watts)), offered("3.5 W")]
Volts = Annotated[
    Range, PlainValidator(quantity(lambda text: parse_range(text, parse_voltage), _volts)), offered("10.5..16 V")
]
Baud = Annotated[Fraction, PlainValidator(quantity(parse_baud)), offered("38400 Bd")]
Format = Annotated[CharFormat, PlainValidator(quantity(CharFormat.parse)), offered("8E1", "8N1")]
Words = Annotated[list[Word], Field(min_length=1, max_length=MOST_PARAMETERS)]


class ParameterShape(Shape):
    """One value of the camera. Values are counts, as on the wire; unit and scale give the size of one count."""

    meaning: Word | None = has("its meaning, by a name that models share; left out: its own name", "iris", None)
    group: Word = has("group on a panel that shows it", "exposure")
    kind: Literal["range", "choice", "switch", "reading"] = has("a reading is never written", "range")
    low: Count = has("its lowest count", default=0)
    high: Count | None = has(
        "its highest count; left out: 65535, for a switch 1, for a choice its last word", 1000, None
    )
    default: Count | None = has("its factory value; left out: its lowest count", 500, None)
    unit: Word | None = has("unit of the scale", "%", None)
    scale: float = has("unit per count", 0.1, 1.0, gt=0, le=10**6, allow_inf_nan=False)
    step: Annotated[int, Field(ge=1, le=65535)] = has("size of one step up or down, in counts", 10, 1)
    choices: Annotated[list[Word], Field(min_length=2, max_length=256)] | None = has(
        "for a choice: the words for its counts, from `low` upwards", ["off", "red", "green"], None
    )
    saved: bool = has("whether a save preserves it through a power cut", default=True)


class SectorsShape(Shape):
    """Hue-sector colour correction: the same values for each sector of the colour circle."""

    number: Annotated[int, Field(ge=1, le=MOST_SECTORS)] = has("number of sectors", 6)
    each: Annotated[dict[str, ParameterShape], Field(min_length=1, max_length=8)] = has(
        "the values of each sector, written like parameters: `hue` becomes `sector_1_hue` and so on"
    )


class LockShape(Shape):
    """While one parameter has a certain value, the camera refuses writes to others."""

    when: Word = has("the parameter that locks", "auto_white")
    equals: Count = has("its count that locks the others", 1)
    locks: Words = has("the parameters that it locks", ["red_gain", "blue_gain"])
    reason: Sentence = has("reason, shown with the refusal", "automatic white balance sets the colour gains itself")


class LimitShape(Shape):
    """The range of one parameter depends on another. When the other one changes, the limited one follows."""

    limits: Word = has("the parameter that is limited", "shutter")
    by: Word = has("the parameter that limits it", "frame_rate")
    lowest: Annotated[dict[str, Count], Field(max_length=256)] = has(
        "choice or count of the limiting parameter: lowest count of the limited one", {"50p": 1}, {}
    )
    highest: Annotated[dict[str, Count], Field(max_length=256)] = has(
        "choice or count of the limiting parameter: highest count of the limited one", {"25p": 4000, "50p": 2000}, {}
    )
    product: Annotated[int, Field(ge=1, le=2**32)] | None = has(
        "or: the highest product of both parameters", 100_000, None
    )
    reason: Sentence = has("reason, shown with the refusal", "a shutter is never longer than its frame or field")


class ControlShape(Shape):
    """A parameter that moves others. They keep their differences and stop when the first one reaches its limit."""

    moves: Annotated[list[Word], Field(max_length=64)] = has(
        "parameters that it moves in the same direction", ["red_black", "green_black", "blue_black"], []
    )
    against: Annotated[list[Word], Field(max_length=64)] = has(
        "parameters that it moves in the opposite direction", ["blue_gain"], []
    )


class PresetsShape(Shape):
    """Presets: scenes that are stored and recalled. A stored preset survives a power cut."""

    number: Annotated[int, Field(ge=1, le=256)] = has("number of presets, counted from 1", 8)
    holds: Words = has("the parameters that a preset holds", ["iris", "gain", "red_gain"])


class MotorShape(Shape):
    """A motor that moves a parameter within its range. A written value is the target of the motor."""

    speed: Speed = has("full speed, in counts per second", "250 /s")
    dead_man: Time = has("a motion ends after this time unless it is started again; 0: never", "2 s", 0)


class OrderShape(Shape):
    """A register that triggers an action when it is written, for protocols without a message for that action."""

    does: Literal["change-id", "change-port", "recall", "store", "move"] | None = has(
        "its action with the written value: the new ID, the number of a port setting (place of the baud in `bauds` x "
        "number of `formats` + place of the format, both from 0; in force after a restart), the number of a preset, "
        "the speed of a motor",
        "recall",
        None,
    )
    motor: Word | None = has("for move: the motor", "zoom", None)
    middle: Annotated[int, Field(ge=100, le=65435)] = has(
        "for move: the count for standstill; 100 counts off: full speed", 100, 100
    )
    codes: Annotated[
        dict[Literal["save", "reboot", "factory-default", "identify", "stop"], Count], Field(max_length=5)
    ] = has("or: actions, each with the count that triggers it", {"save": 1, "reboot": 2}, {})


class TimingShape(Shape):
    """Times of the camera."""

    turnaround: Turnaround = has(
        "time from the end of a request to the start of the reply, uniform in a range; a plan can override it",
        "2..6 ms",
        "5 ms",
    )
    save: Time = has("duration of a save", "400 ms", 0)
    while_saving: Literal["refuses", "deaf"] = has(
        "during a save it refuses requests as busy, or hears none", default="refuses"
    )
    boot: Time = has("time from power-on until it hears requests", "6 s", 0)
    identify: Time = has("duration of an identify; 0: until a stop", "10 s", 0)


class SupplyShape(Shape):
    """Its power from the supply. The power is the same at any voltage (current rises as voltage falls)."""

    voltage: Volts | None = has("range of its supply voltage", "10.5..16 V", None)
    idle: Power = has("power with no motor running", "3.5 W", 0)
    peak: Power = has("power with all motors running", "6 W", 0)
    start_up: Power = has("power just after power-on, if higher", "9 W", 0)
    start_up_time: Time = has("duration of the start-up", "300 ms", 0)


class BusShape(Shape):
    """Its side of the bus, and its factory settings."""

    unit_load: float = has("its load on the pair, in unit loads", 0.125, 0.125, gt=0, le=32, allow_inf_nan=False)
    unpowered: Literal["passes", "loads", "cuts"] = has(
        "without supply it passes the pair through, loads it, or cuts it", default="passes"
    )
    bauds: Annotated[list[Baud], Field(min_length=1, max_length=32)] = has(
        "the bauds that it supports",
        ["9600 Bd", "38400 Bd"],
        ["9600 Bd", "19200 Bd", "38400 Bd", "57600 Bd", "115200 Bd"],
    )
    formats: Annotated[list[Format], Field(min_length=1, max_length=16)] = has(
        "the character formats that it supports", ["8N1", "8E1"], ["8N1", "8E1"]
    )
    factory_baud: Baud | None = has("its baud as delivered; left out: the first of `bauds`", "9600 Bd", None)
    factory_format: Format | None = has("its format as delivered; left out: the first of `formats`", "8N1", None)
    factory_id: Count = has("its bus ID as delivered", 1, 1)
    id_takes_effect: Literal["at-once", "after-save", "after-reboot"] = has(
        "when a new ID takes effect", default="at-once"
    )
    id_kept: Literal["at-once", "by-save"] = has(
        "when a new ID survives a power cut: at once, or after the next save", default="at-once"
    )
    default_resets_id: bool = has("whether a factory default also resets its ID", default=False)
    default_resets_port: bool = has(
        "whether a factory default also resets its baud and format, from its next start on", default=True
    )


class ModelShape(Shape):
    """A camera model: its parameters, its behaviour, and its keys in each protocol."""

    version: Literal[1] = Field(alias="busim-model", description="version of the model format", examples=[1])
    name: Word = has("name of the model", "zoom-camera")
    title: Sentence = has("short description", "remote camera with a zoom lens")
    firmware: Word = has("version of its firmware", "1.0", "1.0")
    lens: Literal["fitted", "none"] = has("none: no lens, and no parameters of the group `lens`", default="fitted")
    parameters: Annotated[dict[str, ParameterShape], Field(min_length=1, max_length=MOST_PARAMETERS)] = has(
        "its parameters, by name"
    )
    hue_sectors: SectorsShape | None = has("hue-sector colour correction", {"number": 6}, None)
    locks: Annotated[list[LockShape], Field(max_length=100)] = has("locks: parameters that block others", default=[])
    limits: Annotated[list[LimitShape], Field(max_length=100)] = has(
        "limits that depend on other parameters", default=[]
    )
    controls: Annotated[dict[str, ControlShape], Field(max_length=64)] = has("parameters that move others", default={})
    presets: PresetsShape | None = has("scenes that are stored and recalled", {"number": 8, "holds": ["iris"]}, None)
    motors: Annotated[dict[str, MotorShape], Field(max_length=64)] = has("the parameters that motors move", default={})
    orders: Annotated[dict[str, OrderShape], Field(max_length=64)] = has(
        "registers that trigger actions, for protocols without messages for them", default={}
    )
    capabilities: Annotated[list[Literal["search", "assign-id"]], Field(max_length=2)] = has(
        "further abilities, if its protocol has a message for them: answer a search for serial numbers within "
        "bounds, and take a bus ID that is assigned to its serial number", ["search", "assign-id"], []
    )  # fmt: skip
    timing: TimingShape = has("times of the camera", {"turnaround": "2..6 ms"}, {})
    supply: SupplyShape = has("its power from the supply", {"idle": "3.5 W", "peak": "6 W"}, {})
    bus: BusShape = has("its side of the bus", {"unit_load": 0.125}, {})
    keys: Annotated[dict[str, dict[str, Count]], Field(max_length=64)] = has(
        "for each protocol: parameter or order -> register or code", default={}
    )
    keys_as: Annotated[dict[str, Word], Field(max_length=64)] = has(
        "protocols that use the keys of another protocol", {"tagged": "modbus-rtu"}, {}
    )


def key_names(shape: ModelShape) -> dict[str, Any]:
    """Everything that `keys` may name, in order: parameters, the first of each value of sectors, orders."""
    each = shape.hue_sectors.each if shape.hue_sectors else {}
    return {**shape.parameters, **{f"sector_{name}": entry for name, entry in each.items()}, **shape.orders}

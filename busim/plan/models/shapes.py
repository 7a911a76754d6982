"""The shape of a camera model, version 1, as pydantic models: which keys there are, what each holds, its default.

What can be said of one place alone stands here; what looks at two places (a lock on a parameter, a default within its
range) is in checks.py.
"""

from __future__ import annotations

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
    """One value of the camera. Values are counts as carried on the wire; unit and scale say what one count is."""

    meaning: Word | None = has("what it is for, in the words of all models; left out: its name", "iris", None)
    group: Word = has("where a panel shows it", "exposure")
    kind: Literal["range", "choice", "switch", "reading"] = has("a reading is never written", "range")
    low: Count = has("its lowest count", default=0)
    high: Count | None = has("its highest count; left out: 65535, of a switch 1, of a choice the last one", 1000, None)
    default: Count | None = has("where it stands when new; left out: its lowest", 500, None)
    unit: Word | None = has("unit of the scale", "%", None)
    scale: float = has("unit per count", 0.1, 1.0, gt=0, le=10**6, allow_inf_nan=False)
    step: Annotated[int, Field(ge=1, le=65535)] = has("counts of one step up or down", 10, 1)
    choices: Annotated[list[Word], Field(min_length=2, max_length=256)] | None = has(
        "choice: the words for its counts, from `low` on", ["off", "red", "green"], None
    )
    saved: bool = has("whether a save keeps it through a loss of power", default=True)


class SectorsShape(Shape):
    """Hue-sector colour correction: the same few values for each sector of the colour circle."""

    number: Annotated[int, Field(ge=1, le=MOST_SECTORS)] = has("how many sectors", 6)
    each: Annotated[dict[str, ParameterShape], Field(min_length=1, max_length=8)] = has(
        "the values of each, as parameters are: `hue` becomes `sector_1_hue` and so on"
    )


class LockShape(Shape):
    """While one parameter has a certain value, writes to others are refused."""

    when: Word = has("the parameter that locks", "auto_white")
    equals: Count = has("the count at which it does", 1)
    locks: Words = has("the parameters that are locked then", ["red_gain", "blue_gain"])
    reason: Sentence = has(
        "why, for whoever reads of the refusal", "automatic white balance sets the colour gains itself"
    )


class LimitShape(Shape):
    """What a parameter may be depends on where another one stands. It follows when that one moves."""

    limits: Word = has("the parameter that is limited", "shutter")
    by: Word = has("the parameter it depends on", "frame_rate")
    lowest: Annotated[dict[str, Count], Field(max_length=256)] = has(
        "choice or count of the other: lowest count of this", {"50p": 1}, {}
    )
    highest: Annotated[dict[str, Count], Field(max_length=256)] = has(
        "choice or count of the other: highest count of this", {"25p": 4000, "50p": 2000}, {}
    )
    product: Annotated[int, Field(ge=1, le=2**32)] | None = has("or: this times the other is never more", 100_000, None)
    reason: Sentence = has("why", "a shutter is never longer than its frame or field")


class ControlShape(Shape):
    """A parameter that moves others. They keep their differences and stop where the first one reaches its end."""

    moves: Annotated[list[Word], Field(max_length=64)] = has(
        "the parameters it moves along", ["red_black", "green_black", "blue_black"], []
    )
    against: Annotated[list[Word], Field(max_length=64)] = has("those it moves the other way", ["blue_gain"], [])


class PresetsShape(Shape):
    """Scenes that are stored and recalled. A place that was stored is kept through a loss of power."""

    number: Annotated[int, Field(ge=1, le=256)] = has("how many places, from 1", 8)
    holds: Words = has("the parameters a place holds", ["iris", "gain", "red_gain"])


class MotorShape(Shape):
    """A motor that moves a parameter, within its range: what is written there is where it goes."""

    speed: Speed = has("full speed, in counts per second", "250 /s")
    dead_man: Time = has("a motion that was started ends after so long unless it is started again; 0: never", "2 s", 0)


class OrderShape(Shape):
    """A place that something is written to in order that something be done, for protocols without words for it."""

    does: Literal["change-id", "recall", "store", "move"] | None = has(
        "what it does with what is written: the new ID, the number of a preset, the speed of a motor", "recall", None
    )
    motor: Word | None = has("move: which motor", "zoom", None)
    middle: Annotated[int, Field(ge=100, le=65435)] = has(
        "move: the count at which it stands; 100 off it: full speed", 100, 100
    )
    codes: Annotated[
        dict[Literal["save", "reboot", "factory-default", "identify", "stop"], Count], Field(max_length=5)
    ] = has("or: what is done, and the count that does it", {"save": 1, "reboot": 2}, {})


class TimingShape(Shape):
    """How long things take."""

    turnaround: Turnaround = has(
        "from the end of a request to the start of the reply, even between two bounds; a plan's own goes before it",
        "2..6 ms",
        "5 ms",
    )
    save: Time = has("how long a save keeps it busy", "400 ms", 0)
    while_saving: Literal["refuses", "deaf"] = has(
        "whether it says that it is busy, or hears nothing", default="refuses"
    )
    boot: Time = has("from power on until it hears", "6 s", 0)
    identify: Time = has("how long it makes itself known when asked to; 0: until told to stop", "10 s", 0)


class SupplyShape(Shape):
    """What it takes from its supply. The power is the same at any voltage (current rises as voltage falls)."""

    voltage: Volts | None = has("between which voltages it works", "10.5..16 V", None)
    idle: Power = has("with nothing moving", "3.5 W", 0)
    peak: Power = has("with everything moving", "6 W", 0)
    start_up: Power = has("just after power on, where that is more", "9 W", 0)
    start_up_time: Time = has("how long that lasts", "300 ms", 0)


class BusShape(Shape):
    """What it is to the pair of wires, and how it comes out of its box."""

    unit_load: float = has("its load on the pair, in unit loads", 0.125, 0.125, gt=0, le=32, allow_inf_nan=False)
    unpowered: Literal["passes", "loads", "cuts"] = has(
        "without power it lets the pair through as with, weighs on it, or cuts what is behind it off", default="passes"
    )
    bauds: Annotated[list[Baud], Field(min_length=1, max_length=32)] = has(
        "what it can be set to", ["9600 Bd", "38400 Bd"], ["9600 Bd", "19200 Bd", "38400 Bd", "57600 Bd", "115200 Bd"]
    )
    formats: Annotated[list[Format], Field(min_length=1, max_length=16)] = has(
        "what it can be set to", ["8N1", "8E1"], ["8N1", "8E1"]
    )
    factory_baud: Baud | None = has("as it comes; left out: the first of `bauds`", "9600 Bd", None)
    factory_format: Format | None = has("as it comes; left out: the first of `formats`", "8N1", None)
    factory_id: Count = has("its bus ID as it comes", 1, 1)
    id_takes_effect: Literal["at-once", "after-save", "after-reboot"] = has(
        "when a new ID is its ID", default="at-once"
    )
    id_kept: Literal["at-once", "by-save"] = has(
        "when a new ID is safe from a loss of power: as it comes, or with the next save", default="at-once"
    )
    default_resets_id: bool = has("whether a factory default makes its ID that of the factory", default=False)


class ModelShape(Shape):
    """A camera model: what it has to set and to read, how it behaves, how each protocol finds its values."""

    version: Literal[1] = Field(alias="busim-model", description="version of this form", examples=[1])
    name: Word = has("name of the model", "zoom-camera")
    title: Sentence = has("what it is, in a few words", "remote camera with a zoom lens")
    firmware: Word = has("version of its firmware", "1.0", "1.0")
    lens: Literal["fitted", "none"] = has(
        "none: it goes without its lens, and without the parameters of the group `lens`", default="fitted"
    )
    parameters: Annotated[dict[str, ParameterShape], Field(min_length=1, max_length=MOST_PARAMETERS)] = has(
        "its values, by name"
    )
    hue_sectors: SectorsShape | None = has("hue-sector colour correction", {"number": 6}, None)
    locks: Annotated[list[LockShape], Field(max_length=100)] = has("what locks what", default=[])
    limits: Annotated[list[LimitShape], Field(max_length=100)] = has(
        "limits that depend on other parameters", default=[]
    )
    controls: Annotated[dict[str, ControlShape], Field(max_length=64)] = has("parameters that move others", default={})
    presets: PresetsShape | None = has("scenes that are stored and recalled", {"number": 8, "holds": ["iris"]}, None)
    motors: Annotated[dict[str, MotorShape], Field(max_length=64)] = has("the parameters that motors move", default={})
    orders: Annotated[dict[str, OrderShape], Field(max_length=64)] = has(
        "places to write to that do something, for protocols without words for it", default={}
    )
    capabilities: Annotated[list[Literal["search", "assign-id"]], Field(max_length=2)] = has(
        "what it can besides, where its protocol has a message for it: answer when all are asked who has a serial "
        "within bounds, and take a bus ID that is given to its serial", ["search", "assign-id"], []
    )  # fmt: skip
    timing: TimingShape = has("how long things take", {"turnaround": "2..6 ms"}, {})
    supply: SupplyShape = has("what it takes from its supply", {"idle": "3.5 W", "peak": "6 W"}, {})
    bus: BusShape = has("what it is to the pair", {"unit_load": 0.125}, {})
    keys: Annotated[dict[str, dict[str, Count]], Field(max_length=64)] = has(
        "protocol to parameter or order to register or code", default={}
    )
    keys_as: Annotated[dict[str, Word], Field(max_length=64)] = has(
        "protocols that have the same keys as another", {"tagged": "modbus-rtu"}, {}
    )


def key_names(shape: ModelShape) -> dict[str, Any]:
    """Everything that `keys` may name, in order: parameters, the first of each value of sectors, orders."""
    each = shape.hue_sectors.each if shape.hue_sectors else {}
    return {**shape.parameters, **{f"sector_{name}": entry for name, entry in each.items()}, **shape.orders}

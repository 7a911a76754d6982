"""Shapes of the site in a plan: places, cables, power, supplies, spares, silenced rules.

As in shapes.py, a shape judges one place of the file alone.
"""

from typing import Annotated, Any, Literal, Self

from pydantic import Field, GetJsonSchemaHandler, PlainValidator, WithJsonSchema, model_validator
from pydantic_core import PydanticKnownError

from busim.foundation.errors import UserError
from busim.foundation.schema import Shape, Word, has, refusal
from busim.plan.fields import (
    Amperes,
    Coordinate,
    Gauge,
    Length,
    Ohms,
    Time,
    TimeSpread,
    VoltRange,
    Volts,
    WattRange,
    Watts,
    read_watts,
)
from busim.plan.site import Conductor

_LONGEST_TEXT = 300


def _text(value: Any) -> str:
    if isinstance(value, str) and len(value) <= _LONGEST_TEXT and value.isprintable():
        return value
    expected = f"text of up to {_LONGEST_TEXT} printable characters, on one line"
    raise refusal(UserError("this text does not fit here", expected=expected, mend="put it in quotes, or shorten it"))


def _reason(value: Any) -> str:
    if isinstance(value, str) and not value.strip():
        raise refusal(
            UserError("the reason is empty", expected="the reason why this is right here", mend="write the reason")
        )
    return _text(value)


Text = Annotated[str, PlainValidator(_text), WithJsonSchema({"type": "string", "maxLength": _LONGEST_TEXT})]
Reason = Annotated[str, PlainValidator(_reason), WithJsonSchema({"type": "string", "minLength": 1})]
BusId = Annotated[int, Field(ge=0, le=65535)]
SerialNumber = Annotated[int, Field(ge=0, le=2**32 - 1)]
UnitLoad = Annotated[float, Field(gt=0, le=32, allow_inf_nan=False)]


class PlaceShape(Shape):
    """A place of the site."""

    name: Word = has("name of the place", "boulder wall")
    at: Annotated[list[Coordinate], Field(min_length=2, max_length=2)] | None = has(
        "x and y from one fixed point of the site", ["12 m", "-4 m"], None
    )
    note: Text = has("note for people who work there", "lift needed", "")


class PowerShape(Shape):
    """The power that a station takes from its supply."""

    idle: WattRange | None = has("at idle; default: from the model", "4 W", None)
    peak: WattRange | None = has("at peak, with all motors; default: from the model", "6..8 W", None)
    start_up: WattRange | None = has("briefly at start-up; default: from the model", "12 W", None)

    @model_validator(mode="before")
    @classmethod
    def spelled_out(cls, value: Any) -> Any:
        """`power: 6 W` is short for the same power at idle, at peak and at start-up."""
        if isinstance(value, dict):
            return value
        read_watts(value)
        return dict.fromkeys(("idle", "peak", "start_up"), value)

    @classmethod
    def __get_pydantic_json_schema__(cls, core: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"anyOf": [{"type": "string", "examples": ["6 W"]}, handler(core)]}


_CONDUCTOR = "how its wires are made: solid (IEC 60228 class 1), stranded (class 2) or flexible (class 5)"


class CableShape(Shape):
    """The cable of a line."""

    gauge: Gauge = has("gauge of the pair: AWG, or a cross-section", "AWG 24", "AWG 24")
    impedance: Ohms = has("characteristic impedance of the pair", "120 ohm", "120 ohm")
    supply_gauge: Gauge | None = has("gauge of its supply pair; default: as the data pair", "AWG 18", None)
    conductor: Conductor = has(_CONDUCTOR, "flexible", "stranded")


class BiasShape(Shape):
    """The bias that holds an undriven pair at idle."""

    present: bool = has("false: no bias", default=True)
    at: list[Word] = has("stations with bias resistors, each with pull-up and pull-down", ["boulder box"], [])
    ohms: Ohms | None = has("value of the pull-up and of the pull-down resistor", "560 ohm", None)
    volts: Volts = has("bias voltage", "5 V", "5 V")

    @model_validator(mode="before")
    @classmethod
    def spelled_out(cls, value: Any) -> Any:
        """`bias: true` is short for `bias: {present: true}`."""
        if isinstance(value, bool):
            return {"present": value}
        if not isinstance(value, dict):
            raise PydanticKnownError("bool_type")
        return value

    @classmethod
    def __get_pydantic_json_schema__(cls, core: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"anyOf": [{"type": "boolean"}, handler(core)]}


class FeedShape(Shape):
    """The cable from a supply to its injection point."""

    length: Length = has("length one way", "30 m", "0")
    gauge: Gauge | None = has("gauge of each conductor", "AWG 14", None)
    conductor: Conductor = has(_CONDUCTOR, "flexible", "stranded")


class SupplyShape(Shape):
    """One source of power."""

    name: Word = has("name of the supply", "wall supply")
    voltage: VoltRange = has("voltage at its terminals", "48 V")
    kind: Literal["dc", "poe"] = has("direct current, or PoE", "poe", "dc")
    poe_class: Annotated[int, Field(ge=0, le=8)] | None = has("class of a PoE port, 0 to 8", 4, None)
    limit: Watts | None = has("highest power that it can give; default: unknown, or from the PoE class", "120 W", None)
    fuse: Amperes | None = has("fuse at its output", "3.15 A", None)
    fuse_reason: Text = has(
        "why this fuse: needed to raise it with `plan set`", "AWG 12 since March, checked by A. Sparks", ""
    )
    place: Word | None = has("name of its place", "boulder wall", None)
    at: Word | None = has("converter, camera or box where it is injected", "boulder box", None)
    feeds: list[Word] = has(
        "converters and cameras that it feeds; they can name it in `supply` instead", ["left mat"], []
    )
    cable: FeedShape = has("cable from it to the injection point", {"length": "30 m", "gauge": "AWG 14"}, {})

    @model_validator(mode="after")
    def _class_of_poe(self) -> Self:
        if self.poe_class is not None and self.kind != "poe":
            raise refusal(
                UserError(
                    "only a PoE supply has a PoE class",
                    expected="`kind: poe` beside `poe_class`",
                    mend="add `kind: poe`, or delete `poe_class`",
                )
            )
        return self


class MeasuredShape(Shape):
    """What was measured on site, beside the value of the plan: of a camera or a converter, by `busim measure`."""

    turnaround: TimeSpread | None = has("turnaround of the camera, least to most", "4.8..5.3 ms", None)
    packing: Time | None = has("silence after which the converter forwards its bytes", "4.1 ms", None)
    reads: Annotated[int, Field(ge=1)] = has("number of reads that were timed", 100)
    on: Text = has("day of the measurement", "2026-11-29")
    how: Text = has("the sign by which it was told apart", "from the echo of the request to the reply", "")


class SpareShape(Shape):
    """Units kept for a swap."""

    name: Word = has("name of the spare", "spare camera")
    model: Word = has("camera model", "zoom-camera", "zoom-camera")
    bus_id: BusId | None = has("its bus ID as delivered; default: the factory ID of its model", 1, None)
    serial: SerialNumber = has("serial number; 0: unknown, or several units", 4190, 0)
    count: Annotated[int, Field(ge=1, le=10_000)] = has("number of units", 2, 1)
    place: Word | None = has("name of the place where they are stored", "truck", None)


class SilencedShape(Shape):
    """A rule of `busim check` that is silenced."""

    rule: Word = has("name of the rule", "supply-fuse")
    at: Word | None = has("name of the entry; default: the whole plan", "boulder wall", None)
    reason: Reason = has("the reason why this is right here", "the house fuses it, see the drawing of the rack")

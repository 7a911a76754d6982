"""Shapes of what a plan says of the site: places, cables, power, supplies, spares, silenced rules.

As in shapes.py, a shape says what can be said about one place of the file alone.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

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
    VoltRange,
    Volts,
    WattRange,
    Watts,
    read_watts,
)

_LONGEST_TEXT = 300


def _text(value: Any) -> str:
    if isinstance(value, str) and len(value) <= _LONGEST_TEXT and value.isprintable():
        return value
    expected = f"text of up to {_LONGEST_TEXT} printable characters, on one line"
    raise refusal(UserError("not a text for this place", expected=expected, mend="put it in quotes, or shorten it"))


def _reason(value: Any) -> str:
    if isinstance(value, str) and not value.strip():
        raise refusal(UserError("no reason", expected="why it may be so here", mend="write the reason out"))
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
        "x and y from any one point of the site", ["12 m", "-4 m"], None
    )
    note: Text = has("what whoever works there should know", "lift needed", "")


class PowerShape(Shape):
    """What a station takes from its supply."""

    idle: WattRange | None = has("at rest; not written: as the model says", "4 W", None)
    peak: WattRange | None = has("at its most, with all motors; not written: as the model says", "6..8 W", None)
    start_up: WattRange | None = has("for a moment while it starts; not written: as the model says", "12 W", None)

    @model_validator(mode="before")
    @classmethod
    def spelled_out(cls, value: Any) -> Any:
        """`power: 6 W` is short for the same at rest, at its most and while it starts."""
        if isinstance(value, dict):
            return value
        read_watts(value)
        return dict.fromkeys(("idle", "peak", "start_up"), value)

    @classmethod
    def __get_pydantic_json_schema__(cls, core: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"anyOf": [{"type": "string", "examples": ["6 W"]}, handler(core)]}


class CableShape(Shape):
    """The cable of a line."""

    gauge: Gauge = has("gauge of the pair: AWG, or a cross-section", "AWG 24", "AWG 24")
    impedance: Ohms = has("characteristic impedance of the pair", "120 ohm", "120 ohm")
    supply_gauge: Gauge | None = has(
        "gauge of the pair in it that carries the supply; not written: as the rest", "AWG 18", None
    )


class BiasShape(Shape):
    """What holds an undriven pair at idle."""

    present: bool = has("false: nothing does", default=True)
    at: list[Word] = has("stations of the line with such resistors, each with both", ["boulder box"], [])
    ohms: Ohms | None = has("resistor up, and as much down", "560 ohm", None)
    volts: Volts = has("what feeds it", "5 V", "5 V")

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
    """The cable from a supply to where it is injected."""

    length: Length = has("length one way", "30 m", "0")
    gauge: Gauge | None = has("gauge of each conductor", "AWG 14", None)


class SupplyShape(Shape):
    """One source of power."""

    name: Word = has("name of the supply", "wall supply")
    voltage: VoltRange = has("voltage at its terminals", "48 V")
    kind: Literal["dc", "poe"] = has("direct current, or PoE", "poe", "dc")
    poe_class: Annotated[int, Field(ge=0, le=8)] | None = has("class of a PoE port, 0 to 8", 4, None)
    limit: Watts | None = has("power it can give; not written: not known, or as the PoE class says", "120 W", None)
    fuse: Amperes | None = has("fuse in its output", "3.15 A", None)
    place: Word | None = has("name of the place where it stands", "boulder wall", None)
    at: Word | None = has("converter, camera or box where it is injected", "boulder box", None)
    feeds: list[Word] = has("converters and cameras it feeds; they may say `supply:` instead", ["left mat"], [])
    cable: FeedShape = has("cable from it to where it is injected", {"length": "30 m", "gauge": "AWG 14"}, {})

    @model_validator(mode="after")
    def _class_of_poe(self) -> SupplyShape:
        if self.poe_class is not None and self.kind != "poe":
            raise refusal(
                UserError(
                    "a PoE class on a supply that is none",
                    expected="`kind: poe` beside `poe_class`",
                    mend="add `kind: poe`, or delete `poe_class`",
                )
            )
        return self


class SpareShape(Shape):
    """Units kept for a swap."""

    name: Word = has("name of the spare", "spare camera")
    model: Word = has("camera model", "zoom-camera", "zoom-camera")
    id: BusId | None = has("its bus ID as delivered; not written: the model's factory ID", 1, None)
    serial: SerialNumber = has("serial number; 0: not known, or several units", 4190, 0)
    count: Annotated[int, Field(ge=1, le=10_000)] = has("how many", 2, 1)
    place: Word | None = has("name of the place where they are kept", "truck", None)


class SilencedShape(Shape):
    """A rule of `busim check` that shall say nothing."""

    rule: Word = has("name of the rule", "supply-fuse")
    at: Word | None = has("name of the entry it is about; not written: all of the plan", "boulder wall", None)
    reason: Reason = has("why it may be so here", "the house fuses it, see the drawing of the rack")

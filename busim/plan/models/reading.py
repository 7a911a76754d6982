"""Reads model files. All mistakes at once, each with its place; no file content is run, and every list is bounded."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from busim.foundation.diagnostics import Finding, Findings
from busim.foundation.errors import UserError
from busim.foundation.schema import Notebook, form, worded
from busim.foundation.units import Range
from busim.foundation.yaml_source import Declared, load, parse, suggestion
from busim.plan.models.model import BusSide, Model, Parameter, Supply, Timing
from busim.plan.models.parameters import parameters
from busim.plan.models.relations import Relations
from busim.plan.models.shapes import ModelShape, key_names

_MOST_FINDINGS = 200
_LENS = "lens"


def read(path: str | Path) -> Model:
    """Read a model file. Raises Findings with every error in it, each with its place."""
    try:
        document = load(path)
    except UserError as error:
        raise Findings([Finding.of(error, "unreadable")]) from None
    return _model(document)


def read_text(text: str, path: str = "") -> Model:
    """Read a model from its text; `path` only names it in messages. Raises Findings as `read` does."""
    try:
        document = parse(text, path)
    except UserError as error:
        raise Findings([Finding.of(error, "unreadable")]) from None
    return _model(document)


def json_schema() -> dict[str, Any]:
    """The format of a camera model as JSON Schema (draft 2020-12), for editors."""
    return form(ModelShape, "busim camera model")


def _model(document: Declared) -> Model:
    notes = Notebook(document)
    notes.found += [Finding.of(problem, "duplicate-key") for problem in document.problems]
    shape: ModelShape | None = None
    try:
        shape = ModelShape.model_validate(document.value)
    except ValidationError as error:
        notes.found += [worded(document, detail, ModelShape) for detail in error.errors(include_url=False)]
    notes.close(_MOST_FINDINGS)
    assert shape is not None
    known = parameters(shape, notes)
    notes.close(_MOST_FINDINGS)
    model = _build(shape, known, notes, document.text)
    notes.close(_MOST_FINDINGS)
    return model if model.lens else _without_lens(model)


def _build(shape: ModelShape, known: dict[str, Parameter], notes: Notebook, text: str) -> Model:
    relations = Relations(shape, known, notes)
    keys, order_keys = _Keys(shape, known, notes).tables()
    return Model(
        name=shape.name,
        title=shape.title,
        firmware=shape.firmware,
        lens=shape.lens == "fitted",
        sectors=shape.hue_sectors.number if shape.hue_sectors else 0,
        parameters=tuple(known.values()),
        locks=relations.locks(),
        limits=relations.limits(),
        controls=relations.controls(),
        presets=relations.presets(),
        motors=relations.motors(),
        orders=relations.orders(),
        timing=_timing(shape),
        supply=_supply(shape, notes),
        bus=_bus(shape, notes),
        keys=keys,
        order_keys=order_keys,
        capabilities=tuple(shape.capabilities),
        source=text,
    )


def _timing(shape: ModelShape) -> Timing:
    timing = shape.timing
    return Timing(timing.turnaround, timing.save, timing.while_saving, timing.boot, timing.identify)


def _supply(shape: ModelShape, notes: Notebook) -> Supply:
    supply = shape.supply
    if supply.peak < supply.idle:
        notes.note(
            "supply",
            "out-of-bounds",
            "the power at peak is below the power at idle",
            found=f"{supply.peak:g} W",
            expected=f"{supply.idle:g} W or more",
            mend="raise `peak`, or lower `idle`",
        )
    voltage = supply.voltage or Range(0.0, 0.0)
    return Supply(voltage, supply.idle, supply.peak, supply.start_up, supply.start_up_time)


def _bus(shape: ModelShape, notes: Notebook) -> BusSide:
    bus = shape.bus
    baud, format = bus.factory_baud or bus.bauds[0], bus.factory_format or bus.formats[0]
    for field, one, all_ in (("baud", baud, bus.bauds), ("format", format, bus.formats)):
        if one not in all_:
            notes.note(
                f"bus.factory_{field}",
                "out-of-bounds",
                f"the factory {field} is not among the supported ones",
                found=str(one),
                expected=", ".join(str(other) for other in all_),
            )
    return BusSide(
        unit_load=float(bus.unit_load),
        unpowered=bus.unpowered,
        bauds=tuple(bus.bauds),
        formats=tuple(bus.formats),
        factory_baud=baud,
        factory_format=format,
        factory_id=bus.factory_id,
        id_takes_effect=bus.id_takes_effect,
        id_kept=bus.id_kept,
        default_resets_id=bus.default_resets_id,
        default_resets_port=bus.default_resets_port,
    )


class _Keys:
    """The keys of each protocol: for parameters, orders and sector values (consecutive keys)."""

    def __init__(self, shape: ModelShape, known: dict[str, Parameter], notes: Notebook) -> None:
        self._shape = shape
        self._known = known
        self._notes = notes
        self._names = key_names(shape)

    def tables(self) -> tuple[dict[str, dict[str, int]], dict[str, dict[str, int]]]:
        found = {protocol: self._table(protocol, entry) for protocol, entry in self._shape.keys.items()}
        for protocol, other in self._shape.keys_as.items():
            if other not in self._shape.keys or protocol in self._shape.keys:
                self._notes.note(
                    self._notes.below("keys_as", protocol),
                    "no-such-protocol",
                    "this protocol cannot take its keys from here",
                    found=repr(other),
                    expected=f"a name among {', '.join(self._shape.keys) or 'keys'}, for a new one",
                )
            else:
                found[protocol] = found[other]
        return _only(found, self._known), _only(found, self._shape.orders)

    def _table(self, protocol: str, entry: dict[str, int]) -> dict[str, int]:
        field = self._notes.below("keys", protocol)
        table: dict[str, int] = {}
        holder: dict[int, str] = {}
        for name, first in entry.items():
            place = self._notes.below(field, name)
            if name not in self._names:
                self._unknown(place, name)
                continue
            for one, key in self._spread(name, first):
                if key in holder or key > 65535:
                    found = f"`{holder[key]}` already has this key" if key in holder else "this key is above 65535"
                    self._notes.note(place, "key-twice", found, found=str(key), expected="a key of its own")
                holder[key] = one
                table[one] = key
        missing = [name for name in self._known if name not in table]
        if missing:
            self._notes.note(
                field,
                "missing-key",
                f"`{missing[0]}` has no key",
                expected="a key for every parameter",
                mend=f"add `{missing[0]}: {max(holder, default=-1) + 1}`",
            )
        return table

    def _spread(self, name: str, first: int) -> list[tuple[str, int]]:
        if name in self._known or name in self._shape.orders:
            return [(name, first)]
        assert self._shape.hue_sectors is not None
        value = name.removeprefix("sector_")
        return [(f"sector_{number + 1}_{value}", first + number) for number in range(self._shape.hue_sectors.number)]

    def _unknown(self, place: str, name: str) -> None:
        self._notes.note(
            place,
            "no-such-parameter",
            "there is no parameter or order of this name",
            at_key=True,
            found=repr(name[:60]),
            expected="one of this model",
            mend=suggestion(name, self._names, "declare it under `parameters`"),
        )


def _only(tables: Mapping[str, Mapping[str, int]], names: Collection[str]) -> dict[str, dict[str, int]]:
    """The keys of these names, for each protocol."""
    return {protocol: {name: key for name, key in table.items() if name in names} for protocol, table in tables.items()}


def _without_lens(model: Model) -> Model:
    """The model without its lens: without the group `lens` and all entries that name it."""
    gone = {parameter.name for parameter in model.parameters if parameter.group == _LENS}
    orders = tuple(order for order in model.orders if order.motor not in gone)

    def left(names: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(name for name in names if name not in gone)

    locks = (replace(lock, locks=left(lock.locks)) for lock in model.locks if lock.when not in gone)
    controls = (
        replace(control, moves=left(control.moves), against=left(control.against))
        for control in model.controls
        if control.name not in gone
    )
    return replace(
        model,
        parameters=tuple(parameter for parameter in model.parameters if parameter.name not in gone),
        locks=tuple(lock for lock in locks if lock.locks),
        limits=tuple(limit for limit in model.limits if limit.limits not in gone and limit.by not in gone),
        controls=tuple(control for control in controls if control.moves or control.against),
        presets=replace(model.presets, holds=left(model.presets.holds)),
        motors=tuple(motor for motor in model.motors if motor.moves not in gone),
        orders=orders,
        keys=_only(model.keys, {parameter.name for parameter in model.parameters} - gone),
        order_keys=_only(model.order_keys, {order.name for order in orders}),
    )

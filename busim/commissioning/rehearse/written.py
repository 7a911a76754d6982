"""The `rehearsal` of a plan: handling times, and steps to use instead of the generated ones.

The plan's reader keeps this block unread, since it knows no steps. Here it is read, and every mistake is reported at
once with line and column.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, PlainValidator, ValidationError

from busim.commissioning.bus_scan import listening
from busim.commissioning.rehearse.script import Planned, generated
from busim.commissioning.rehearse.steps import BINDINGS, CYCLE, DIAL, KINDS, LISTEN, SECOND, SUPPLY, Assumed, Step
from busim.commissioning.rehearse.switching import switches
from busim.foundation.diagnostics import Finding, Findings
from busim.foundation.schema import Sentence, Shape, Word, at, has, offered, quantity, worded
from busim.foundation.units import CharFormat, parse_baud, parse_time
from busim.foundation.yaml_source import Declared, nearest, parse
from busim.plan import Plan, locate

_MOST = 200  # findings
_DAY = 86_400 * SECOND

Time = Annotated[
    int,
    PlainValidator(quantity(parse_time, lambda ns: None if ns <= _DAY else "at most 24 h")),
    offered("30 s", "2 min"),
]
Baud = Annotated[Any, PlainValidator(quantity(parse_baud)), offered("38400 Bd")]
Format = Annotated[Any, PlainValidator(quantity(CharFormat.parse)), offered("8E1")]


class AssumedShape(Shape):
    """Assumed handling times, which cannot be simulated."""

    connect: Time = has("connecting a camera: walk there, plug in, walk back", "3 min", "3 min")
    power: Time = has("switching its power on or off", "30 s", "30 s")
    look: Time = has("looking at a picture, a lamp or one panel control", "15 s", "15 s")
    cycle: Time = has("a power cycle", "20 s", "20 s")
    page: Time = has("settings of a converter", "1 min", "1 min")
    off: Time = has("time without power in a power cycle", "5 s", "5 s")


class StepShape(Shape):
    """One step."""

    do: Literal[
        "listen", "connect", "power", "identify", "assign", "save", "cycle", "read-back", "test-picture", "round",
        "bindings", "look", "wait", "mark", "disconnect", "swap", "dial", "replace", "supply", "tune", "set-port",
    ] = has("kind of step", "connect")  # fmt: skip
    camera: Word | None = has("camera of this step", "left mat", None)
    line: Word | None = has("line of this step", "mat line", None)
    bus_id: Annotated[int, Field(ge=0, le=65535)] | None = has(
        "bus ID of this step; default: the current ID of the camera", 4, None
    )
    length: Time | None = Field(None, alias="for", description="duration", examples=["10 s"])
    times: Annotated[int, Field(ge=1, le=10_000)] = has("number of readings", 10, 10)
    on: bool = has("power or wire swap on, or off", default=True)
    through: bool = has("the pair stays joined past the unplugged camera", default=True)
    broadcast: bool = has("the new ID is sent to all", default=False)
    text: Sentence | None = has("name of a mark, or what to look for", "the tally of the left mat is red", None)
    panel: Word | None = has("one panel; default: all panels of this camera", "desk", None)
    baud: Baud | None = has("baud of its port", "38400 Bd", None)
    format: Format | None = has("format of its port", "8E1", None)
    serial: Annotated[int, Field(ge=0, le=4_294_967_295)] | None = has("serial number of the new unit", 4190, None)
    supply: Word | None = has("supply of this step", "boulder supply", None)
    takes: Time | None = has("handling time; default: from `assumed`", "2 min", None)


class RehearsalShape(Shape):
    """The `rehearsal` of a plan."""

    assumed: AssumedShape = has("handling times", default={})
    steps: Annotated[list[StepShape], Field(max_length=2000)] = has(
        "the steps; none: generated from the plan", [{"do": "wait", "for": "10 s"}], []
    )


class _Root(Shape):
    rehearsal: RehearsalShape = has("commissioning", default={})


def steps_of(plan: Plan, cameras: Mapping[str, Planned]) -> tuple[tuple[Step, ...], Assumed]:
    """The steps of a plan, written or else generated, and the assumed handling times.

    Raises Findings with every mistake in its `rehearsal`.
    """
    shape = _block(plan)
    if shape is None:
        return generated(plan, cameras, Assumed()), Assumed()
    given = shape.assumed
    assumed = Assumed(given.connect, given.power, given.look, given.cycle, given.off, given.page)
    steps = tuple(_step(plan, cameras, assumed, index, one) for index, one in enumerate(shape.steps))
    return steps or generated(plan, cameras, assumed), assumed


def wrong(plan: Plan) -> tuple[Finding, ...]:
    """Every mistake in the `rehearsal` of a plan; empty if there is none."""
    try:
        _block(plan)
    except Findings as error:
        return error.findings
    return ()


def _block(plan: Plan) -> RehearsalShape | None:
    """The `rehearsal` of a plan, None if it has none. Raises Findings."""
    if "rehearsal" not in plan.source:  # a large plan takes a while to parse
        return None
    document = parse(plan.source, plan.path)
    block = document.value.get("rehearsal")
    if block is None:
        return None
    try:
        shape = _Root.model_validate({"rehearsal": block}).rehearsal
    except ValidationError as error:
        details = error.errors(include_url=False)[:_MOST]
        raise Findings(_in_order(worded(document, one, _Root) for one in details)) from None
    found = _in_order(finding for entry in enumerate(shape.steps) for finding in _wrong(document, plan, entry))
    if found:
        raise Findings(found[:_MOST])
    return shape


def json_schema() -> dict[str, Any]:
    """JSON Schema of a `rehearsal`."""
    return RehearsalShape.model_json_schema(by_alias=True)


def _in_order(findings: Any) -> list[Finding]:
    return sorted(findings, key=lambda finding: finding.order)


def _step(plan: Plan, cameras: Mapping[str, Planned], assumed: Assumed, index: int, shape: StepShape) -> Step:
    usual, why = listening(plan)
    length = shape.length
    if length is None:
        length = {LISTEN: usual, CYCLE: assumed.off}.get(shape.do, 0)
    handling = assumed.handling(shape.do)
    if shape.do == BINDINGS:
        panels = [one for one in plan.panels if shape.camera in one.cameras and shape.panel in (None, one.name)]
        handling *= sum(len(one.controls) for one in panels)
    line = cameras[shape.camera].line if shape.camera else shape.line or ""
    supply, along = _switched(plan, shape)
    return Step(
        shape.do, line, shape.camera or "", shape.bus_id, handling if shape.takes is None else shape.takes, length,
        shape.times, shape.on, shape.through, shape.broadcast,
        shape.text or (why if shape.do == LISTEN and shape.length is None else ""), shape.panel or "", shape.baud,
        shape.format, shape.serial, locate(plan, f"rehearsal.steps[{index}]"), supply, along,
    )  # fmt: skip


def _switched(plan: Plan, shape: StepShape) -> tuple[str, tuple[str, ...]]:
    """The supply that a step switches, "" for none, and the other stations that it takes along."""
    known = switches(plan)
    if shape.do == SUPPLY:
        return shape.supply or "", known.feeds[shape.supply or ""]
    supply = known.of.get(shape.camera or "", "") if shape.do == CYCLE else ""
    return supply, known.along(supply, shape.camera or "") if supply else ()


# -- checks beyond the schema ------------------------------------------------------------------------------------


def _wrong(document: Declared, plan: Plan, entry: tuple[int, StepShape]) -> Iterator[Finding]:
    index, shape = entry
    field, kind = f"rehearsal.steps[{index}]", KINDS[shape.do]
    written = {key for key in document.value["rehearsal"]["steps"][index] if key not in ("do", "takes")}
    needed = {kind.to, *kind.needs} - {""}
    for key in sorted(needed - written):
        yield at(
            document, field, "missing-key", f"`{shape.do}` needs `{key}`", found="no such key",
            expected=f"the key `{key}`", mend=f"add `{key}:`",
        )  # fmt: skip
    for key in sorted(written - needed - set(kind.may)):
        known = ", ".join(sorted({*needed, *kind.may, "takes"}))
        yield at(
            document, f"{field}.{key}", "unknown-key", f"`{shape.do}` has no `{key}`", at_key=True, found=repr(key),
            expected=f"of {known}", mend="delete the key",
        )  # fmt: skip
    if shape.do == DIAL and not written & {"baud", "format"}:
        yield at(
            document, field, "missing-key", "`dial` sets nothing", found="neither `baud` nor `format`",
            expected="one of them, or both", mend="add for example `baud: 9600 Bd`",
        )  # fmt: skip
    present = [camera.name for camera in plan.cameras if camera.present]
    absent = [camera.name for camera in plan.cameras if not camera.present]
    yield from _named(document, f"{field}.camera", "camera", shape.camera, present, absent)
    yield from _named(document, f"{field}.line", "line", shape.line, [line.name for line in plan.lines])
    yield from _named(document, f"{field}.supply", "supply", shape.supply, [one.name for one in plan.supplies])
    yield from _named(document, f"{field}.panel", "panel", shape.panel, [panel.name for panel in plan.panels])


def _named(
    document: Declared, field: str, kind: str, name: str | None, known: Any, absent: Any = ()
) -> Iterator[Finding]:
    if name is None or name in known:
        return
    meant = nearest(name, list(known))
    mend = f"did you mean `{meant}`?" if meant else f"name a {kind} of the plan"
    what = f"there is no {kind} of this name"
    if name in absent:
        what, mend = f"this {kind} is not present", "set `present: true` where it is declared, or leave the step out"
    listed = ", ".join(f"`{one}`" for one in list(known)[:12]) or "none is there"
    yield at(document, field, f"no-such-{kind}", what, found=repr(name[:60]), expected=listed, mend=mend)

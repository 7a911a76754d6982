"""The `rehearsal` of a plan: what hands take, and steps, where somebody wants others than those made from the plan.

The plan's reader keeps this block as it is, since it knows no steps; here it is read, with the same care: every mistake
at once, each with its line and column.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, PlainValidator, ValidationError

from busim.commissioning.bus_scan import listening
from busim.commissioning.rehearse.script import Planned, generated
from busim.commissioning.rehearse.steps import BINDINGS, CYCLE, DIAL, KINDS, LISTEN, SECOND, Assumed, Step
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
    """What hands take: nobody can simulate it."""

    connect: Time = has("a camera that is connected: way, plug, way back", "3 min", "3 min")
    power: Time = has("to give it power", "30 s", "30 s")
    look: Time = has("a look at a picture or a lamp, and at each control of a panel", "15 s", "15 s")
    cycle: Time = has("to switch it off and on again", "20 s", "20 s")
    off: Time = has("how long it is left without power then", "5 s", "5 s")


class StepShape(Shape):
    """One step."""

    do: Literal[
        "listen", "connect", "power", "identify", "assign", "save", "cycle", "read-back", "test-picture", "round",
        "bindings", "look", "wait", "mark", "disconnect", "swap", "dial", "replace",
    ] = has("what is done", "connect")  # fmt: skip
    camera: Word | None = has("the camera that it is done to", "left mat", None)
    line: Word | None = has("the line that it is done to", "mat line", None)
    id: Annotated[int, Field(ge=0, le=65535)] | None = has(
        "bus ID that it is about; not written: that of the camera as things stand", 4, None
    )
    length: Time | None = Field(None, alias="for", description="how long", examples=["10 s"])
    times: Annotated[int, Field(ge=1, le=10_000)] = has("how often it is read", 10, 10)
    on: bool = has("power, or swapped wires: on or off", default=True)
    through: bool = has("whether the pair goes on past the plug that is out", default=True)
    broadcast: bool = has("the new ID is sent to all", default=False)
    text: Sentence | None = has("words of a mark, or what is to be seen", "the tally of the left mat is red", None)
    panel: Word | None = has("one panel; not written: all that move this camera", "desk", None)
    baud: Baud | None = has("baud of its port", "38400 Bd", None)
    format: Format | None = has("format of its port", "8E1", None)
    serial: Annotated[int, Field(ge=0, le=4_294_967_295)] | None = has("serial number of a unit put up", 4190, None)
    takes: Time | None = has("what hands take; not written: as assumed for such a step", "2 min", None)


class RehearsalShape(Shape):
    """The `rehearsal` of a plan."""

    assumed: AssumedShape = has("what hands take", default={})
    steps: Annotated[list[StepShape], Field(max_length=2000)] = has(
        "the steps; none: they are made from the plan", [{"do": "wait", "for": "10 s"}], []
    )


class _Root(Shape):
    rehearsal: RehearsalShape = has("commissioning", default={})


def steps_of(plan: Plan, cameras: Mapping[str, Planned]) -> tuple[tuple[Step, ...], Assumed]:
    """The steps of a plan, those written in it or else those made from it, and what hands are assumed to take.

    Raises Findings: everything that is wrong with its `rehearsal`.
    """
    shape = _block(plan)
    if shape is None:
        return generated(plan, cameras, Assumed()), Assumed()
    given = shape.assumed
    assumed = Assumed(given.connect, given.power, given.look, given.cycle, given.off)
    steps = tuple(_step(plan, cameras, assumed, index, one) for index, one in enumerate(shape.steps))
    return steps or generated(plan, cameras, assumed), assumed


def wrong(plan: Plan) -> tuple[Finding, ...]:
    """Everything that is wrong with the `rehearsal` of a plan, for a check of it."""
    try:
        _block(plan)
    except Findings as error:
        return error.findings
    return ()


def _block(plan: Plan) -> RehearsalShape | None:
    """The `rehearsal` of a plan, None where it has none. Raises Findings."""
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
    """The form of a `rehearsal`, as JSON Schema."""
    return RehearsalShape.model_json_schema(by_alias=True)


def _in_order(findings: Any) -> list[Finding]:
    return sorted(findings, key=lambda finding: finding.order)


def _step(plan: Plan, cameras: Mapping[str, Planned], assumed: Assumed, index: int, shape: StepShape) -> Step:
    usual, why = listening(plan)
    length = shape.length
    if length is None:
        length = {LISTEN: usual, CYCLE: assumed.off}.get(shape.do, 0)
    hands = assumed.hands(shape.do)
    if shape.do == BINDINGS:
        panels = [one for one in plan.panels if shape.camera in one.cameras and shape.panel in (None, one.name)]
        hands *= sum(len(one.controls) for one in panels)
    line = cameras[shape.camera].line if shape.camera else shape.line or ""
    return Step(
        shape.do, line, shape.camera or "", shape.id, hands if shape.takes is None else shape.takes, length,
        shape.times, shape.on, shape.through, shape.broadcast,
        shape.text or (why if shape.do == LISTEN and shape.length is None else ""), shape.panel or "", shape.baud,
        shape.format, shape.serial, locate(plan, f"rehearsal.steps[{index}]"),
    )  # fmt: skip


# -- what the shapes cannot say ------------------------------------------------------------------------------------


def _wrong(document: Declared, plan: Plan, entry: tuple[int, StepShape]) -> Iterator[Finding]:
    index, shape = entry
    field, kind = f"rehearsal.steps[{index}]", KINDS[shape.do]
    written = {key for key in document.value["rehearsal"]["steps"][index] if key not in ("do", "takes")}
    needed = {kind.to, *kind.needs} - {""}
    for key in sorted(needed - written):
        yield at(
            document, field, "missing-key", f"`{shape.do}` does not say `{key}`", found="no such key",
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

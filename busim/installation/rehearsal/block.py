"""The `rehearsal` of a plan: its schema, and every mistake in it at once, each with line and column.

The plan's reader keeps this block unread. It is resolved with the rest of the installation, so that every command
refuses a mistake in it, and not only the rehearsal.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import Annotated, Any, Literal

from pydantic import Field, PlainValidator, ValidationError

from busim.foundation.diagnostics import Finding
from busim.foundation.schema import Sentence, Shape, Word, at, has, offered, quantity, worded
from busim.foundation.units import CharFormat, parse_baud, parse_time
from busim.foundation.yaml_source import Declared, parse, suggestion
from busim.installation.rehearsal.kinds import DIAL, KINDS
from busim.plan import Plan

_MOST = 200  # findings
_DAY = 86_400 * 10**9  # ns

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


def read_block(plan: Plan) -> tuple[RehearsalShape | None, tuple[Finding, ...]]:
    """The `rehearsal` of a plan, None if it has none, and every mistake in it."""
    if "rehearsal" not in plan.source:  # a large plan takes a while to parse
        return None, ()
    document, shape, found = _parsed(plan.source, plan.path)
    if shape is None or found:
        return None, found
    found = _in_order(finding for entry in enumerate(shape.steps) for finding in _wrong(document, plan, entry))
    return shape, found[:_MOST]


@lru_cache(maxsize=4)  # a sweep resolves one text thousands of times
def _parsed(source: str, path: str) -> tuple[Declared, RehearsalShape | None, tuple[Finding, ...]]:
    """The text of a plan, its block, and the mistakes that the schema finds there."""
    document = parse(source, path)
    block = document.value.get("rehearsal")
    if block is None:
        return document, None, ()
    try:
        return document, _Root.model_validate({"rehearsal": block}).rehearsal, ()
    except ValidationError as error:
        details = error.errors(include_url=False)[:_MOST]
        return document, None, _in_order(worded(document, one, _Root) for one in details)


def json_schema() -> dict[str, Any]:
    """JSON Schema of a `rehearsal`."""
    return RehearsalShape.model_json_schema(by_alias=True)


def _in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    return tuple(sorted(findings, key=lambda finding: finding.order))


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
    mend = suggestion(name, known, f"name a {kind} of the plan")
    what = f"there is no {kind} of this name"
    if name in absent:
        what, mend = f"this {kind} is not present", "set `present: true` where it is declared, or leave the step out"
    listed = ", ".join(f"`{one}`" for one in list(known)[:12]) or "none is there"
    yield at(document, field, f"no-such-{kind}", what, found=repr(name[:60]), expected=listed, mend=mend)

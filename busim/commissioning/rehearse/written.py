"""From the `rehearsal` of a plan to steps and handling times; without one, the steps are generated."""

from __future__ import annotations

from collections.abc import Mapping

from busim.commissioning.bus_scan import listening
from busim.commissioning.rehearse.script import Planned, generated
from busim.commissioning.rehearse.steps import Assumed, Step
from busim.commissioning.rehearse.switching import switches
from busim.foundation.diagnostics import Findings
from busim.installation.rehearsal import BINDINGS, CYCLE, LISTEN, SUPPLY, StepShape, read_block
from busim.plan import Plan, locate


def steps_of(plan: Plan, cameras: Mapping[str, Planned]) -> tuple[tuple[Step, ...], Assumed]:
    """The steps of a plan, written or else generated, and the assumed handling times.

    Raises Findings with every mistake in its `rehearsal`.
    """
    shape, found = read_block(plan)
    if found:
        raise Findings(found)
    if shape is None:
        return generated(plan, cameras, Assumed()), Assumed()
    given = shape.assumed
    assumed = Assumed(given.connect, given.power, given.look, given.cycle, given.off, given.page)
    steps = tuple(_step(plan, cameras, assumed, index, one) for index, one in enumerate(shape.steps))
    return steps or generated(plan, cameras, assumed), assumed


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

"""From a solution in numbers to the new plan: lines, IDs, entries that move with a camera, entries that go."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

from busim.analysis.split.asking import Asked
from busim.analysis.split.candidates import Candidate, Names
from busim.analysis.split.laying import Laid
from busim.analysis.split.problem import Answer
from busim.analysis.split.wishes import Wishes
from busim.plan import CameraPlan, ConverterPlan, LinePlan, Plan, SupplyPlan


@dataclass
class Drawn:
    """A line of the new plan, with its origin."""

    candidate: Candidate
    laid: Laid
    line: LinePlan
    converter: ConverterPlan
    supply: SupplyPlan | None
    ids: dict[str, int] = field(default_factory=dict)

    @property
    def unchanged(self) -> bool:
        return not self.candidate.new and self.line.order == self.candidate.line.order


def drawn(plan: Plan, asked: Asked, answer: Answer, wishes: Wishes) -> list[Drawn]:
    """The lines, those of the plan first and in its order."""
    names = Names(plan, 1 if wishes.more is None else wishes.more.ports)
    problem = asked.problem
    found = []
    for one in sorted(answer.lines, key=lambda one: (one.kind, min(one.group(problem), default=0))):
        candidate = asked.field.candidates[one.kind]
        route = [None if at == problem.count else problem.cameras[at] for at in one.route]
        laid = asked.layer.laid(candidate, route, one.metres)
        found.append(_new(names, candidate, laid) if candidate.new else _planned(candidate, laid))
    _number(plan, asked, found, wishes)
    return found


def _planned(candidate: Candidate, laid: Laid) -> Drawn:
    here = {at.name for at in laid.order}
    bias = candidate.line.bias
    kept = tuple(name for name in bias.at if name in here)
    if len(kept) < len(bias.at):  # its resistors were in a camera that is elsewhere now
        kept = tuple(dict.fromkeys((*kept, candidate.converter.name)))
    line = replace(candidate.line, order=laid.order, bias=replace(bias, at=kept))
    return Drawn(candidate, laid, line, candidate.converter, laid.supply)


def _new(names: Names, candidate: Candidate, laid: Laid) -> Drawn:
    converter = names.placed(candidate.converter)
    supply = laid.supply
    order = tuple(replace(at, name=converter.name) if at.kind == "converter" else at for at in laid.order)
    bias = candidate.line.bias
    line = replace(
        candidate.line, name=names.fresh(candidate.line.name), order=order,
        bias=replace(bias, at=(converter.name,) if bias.at else ()),
    )  # fmt: skip
    if supply is not None:
        fed_too = converter.supply == supply.name
        name = names.fresh(supply.name)
        feeds = tuple(converter.name if one == candidate.converter.name else one for one in supply.feeds)
        at = converter.name if supply.at == candidate.converter.name else supply.at
        supply = replace(supply, name=name, feeds=feeds, at=at, place=converter.place)
        converter = replace(converter, supply=name if fed_too else None)
    else:
        converter = replace(converter, supply=None)
    return Drawn(candidate, laid, line, converter, supply)


def _number(plan: Plan, asked: Asked, lines: list[Drawn], wishes: Wishes) -> None:
    """IDs: as planned, or the lowest free one for a camera whose ID another camera of its line has."""
    taken = {camera.bus_id for camera in plan.cameras}
    for one in lines:
        wire = next(wire for wire in asked.survey.wires if wire.line.name == one.candidate.line.name)
        low, high = wire.protocol.addresses if wire.protocol else (1, 1)
        old = {at.name for at in one.candidate.line.order} if not one.candidate.new else set()
        used: set[int] = set()
        # A camera that stays keeps its ID.
        for camera in sorted(one.laid.cameras, key=lambda camera: camera.name not in old):
            number = camera.bus_id
            if wishes.renumber and (number in used or not low <= number <= high):
                own = {camera.bus_id for camera in one.laid.cameras}
                free = (n for n in range(low, high + 1) if n not in used and n not in taken)
                number = next(free, 0) or next(n for n in range(low, high + 1) if n not in used | own)
                taken.add(number)
            used.add(number)
            one.ids[camera.name] = number


def new_plan(plan: Plan, asked: Asked, lines: list[Drawn]) -> Plan:
    """The plan with these lines. Unneeded entries (a converter, its line, its supplies) are removed."""
    ours = {candidate.line.name for candidate in asked.field.candidates if not candidate.new}
    by_line = {one.line.name: one for one in lines}
    added = [one for one in lines if one.candidate.new]
    used = {one.converter.name for one in lines}
    gone = {one.converter.name for one in asked.field.candidates if not one.new} - used
    cameras = tuple(_camera(camera, lines, asked) for camera in plan.cameras)
    converters = (*(one for one in plan.converters if one.name not in gone), *(one.converter for one in added))
    supplies = tuple(_supplies(plan, lines, gone, cameras, converters))
    names = {one.name for one in supplies}
    kept_lines = [line for line in plan.lines if line.name not in ours or line.name in by_line]
    left = gone | {line.name for line in plan.lines} - {line.name for line in kept_lines}
    left |= {supply.name for supply in plan.supplies} - names
    return replace(
        plan,
        lines=(*(by_line[line.name].line if line.name in ours else line for line in kept_lines),
               *(one.line for one in added)),
        cameras=cameras,
        converters=tuple(replace(one, supply=one.supply if one.supply in names else None) for one in converters),
        masters=tuple(replace(one, through=_through(one.through, gone, added)) for one in plan.masters),
        supplies=supplies,
        silenced=tuple(one for one in plan.silenced if one.at not in left),
        expect=tuple(
            replace(one, of=tuple(name for name in one.of if name not in left))
            for one in plan.expect
            if not one.of or set(one.of) - left
        ),
        source="", positions={},
    )  # fmt: skip


def _through(through: tuple[str, ...], gone: set[str], added: list[Drawn]) -> tuple[str, ...]:
    more = (one.converter.name for one in added if one.candidate.like in through)
    return (*(name for name in through if name not in gone), *more)


def _camera(camera: CameraPlan, lines: list[Drawn], asked: Asked) -> CameraPlan:
    one = next((one for one in lines if camera.name in one.ids), None)
    if one is None:
        return camera
    fed = camera.name in asked.layer.fed
    return replace(
        camera,
        bus_id=one.ids[camera.name],
        supply=one.supply.name if fed and one.supply else camera.supply,
        terminator=camera.terminator and one.unchanged,
    )


def _supplies(
    plan: Plan, lines: list[Drawn], gone: set[str], cameras: Iterable[CameraPlan], converters: Iterable[ConverterPlan]
) -> Iterator[SupplyPlan]:
    """Each supply with its present loads; without supplies that lost theirs."""
    drawn = {one.supply.name: one.supply for one in lines if one.supply is not None}
    known = {supply.name for supply in plan.supplies}
    stations: list[CameraPlan | ConverterPlan] = [*converters, *cameras]
    for supply in (*plan.supplies, *(one for name, one in drawn.items() if name not in known)):
        now = drawn.get(supply.name, supply)
        feeds = tuple(one.name for one in stations if one.supply == supply.name)
        if feeds or (supply.feeds == now.feeds and not set(supply.feeds) and supply.at not in gone):
            at = now.at if now.at not in gone else None
            yield replace(now, feeds=feeds, at=at)

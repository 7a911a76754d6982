"""A plan and wishes to a split. The figures come from the budget and the checks, not from the problem."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from busim.analysis.check import Survey
from busim.analysis.split.asking import Asked, asked
from busim.analysis.split.greedy import greedy
from busim.analysis.split.laying import lowest
from busim.analysis.split.optimal import optimal
from busim.analysis.split.planning import Drawn, drawn, new_plan
from busim.analysis.split.reasons import left_over, why
from busim.analysis.split.result import Split, SplitLine, Stop
from busim.analysis.split.wishes import Wishes
from busim.foundation.units import show_time
from busim.installation import outline
from busim.plan import Plan


def split(plan: Plan, wishes: Wishes | None = None, *, best: bool = False) -> Split:
    """The cameras of each converter: fewest lines, then fewest metres. `best`: proven, with the extra `optimal`.

    Raises UserError if nothing of the plan can be split, for wishes with unknown names, and without the extra.
    """
    wishes = wishes or Wishes()
    question = asked(plan, wishes)
    answer = optimal(question.problem) if best else greedy(question.problem)
    lines = drawn(plan, question, answer, wishes)
    whole = new_plan(plan, question, lines)
    used = {one.candidate.spot for one in lines}
    return Split(
        plan=plan.name,
        way="optimal" if best else "greedy",
        headroom_wanted=wishes.headroom,
        lines=_figures(question, whole, lines),
        left_over=left_over(question, answer, wishes),
        why=why(question, answer),
        least=question.problem.least,
        proven=answer.proven,
        shortest=answer.shortest,
        unused=tuple(one.spot for one in question.field.candidates if not one.new and one.spot not in used),
        alone=question.field.left_alone,
        notes=tuple(_notes(plan, whole, lines)),
        assumptions=tuple(_assumptions(question, wishes)),
        new_plan=None if answer.left else whole,
        likes=dict(_likes(lines)),
    )


def _likes(lines: list[Drawn]) -> Iterator[tuple[str, str]]:
    for one in lines:
        if one.candidate.new:
            yield one.line.name, one.candidate.line.name
            yield one.converter.name, one.candidate.like
            if one.supply is not None and one.candidate.supply is not None:
                yield one.supply.name, one.candidate.supply.name


def _figures(question: Asked, whole: Plan, lines: list[Drawn]) -> tuple[SplitLine, ...]:
    """Each line as budget and checks see it in the new plan, with the wanted rates."""
    masters = {one.name: one for one in whole.masters}
    groups = tuple(replace(masters[one.name], groups=one.groups) for one in question.plan.masters)
    survey = Survey(outline(replace(whole, masters=groups)))
    loads: dict[str, float] = {}
    for timed in survey.timed:
        loads[timed.case.line] = loads.get(timed.case.line, 0.0) + timed.mean.demand
    units = {wiring.line.name: wiring.unit_loads for wiring in survey.wirings}
    return tuple(_line(question, one, loads.get(one.line.name, 0.0), units[one.line.name]) for one in lines)


def _line(question: Asked, one: Drawn, load: float, unit_loads: float) -> SplitLine:
    feed = one.laid.feed
    name, volts, least = ("", math.nan, math.nan) if feed is None else lowest(feed)
    kind = question.field.candidates.index(one.candidate)
    return SplitLine(
        name=one.line.name,
        converter=one.converter.name,
        place=one.converter.place,
        box=one.converter.box,
        new=one.candidate.new,
        unchanged=one.unchanged,
        stops=_stops(one),
        cameras=len(one.laid.cameras),
        metres=one.laid.metres,
        reach=question.problem.kinds[kind].reach,
        load=load,
        headroom=1 - load,
        unit_loads=unit_loads,
        supply=one.supply.name if one.supply else None,
        supply_at=one.supply.at if one.supply else None,
        watts=None if feed is None else feed.watts("peak"),
        limit=None if feed is None else feed.limit,
        lowest=volts if name else None,
        lowest_at=name or None,
        needed=least if name else None,
    )


def _stops(one: Drawn) -> tuple[Stop, ...]:
    stations = [at for at in one.line.order if at.kind != "terminator"]
    was = {camera.name: camera.bus_id for camera in one.laid.cameras}
    found = []
    for number, at in enumerate(stations):
        after = at.metres - stations[number - 1].metres if number else 0.0
        planned = one.laid.planned[number - 1] if number else True
        own = one.ids.get(at.name) if at.kind == "camera" else None
        old = was.get(at.name) if at.kind == "camera" else None
        found.append(Stop(at.kind, at.name, after, planned, own, None if own == old else old))
    return tuple(found)


def _notes(plan: Plan, whole: Plan, lines: list[Drawn]) -> list[str]:
    """Tasks besides moving cameras."""
    now = {camera.name: camera for camera in whole.cameras}
    notes = [
        f"switch off the terminator inside camera {camera.name!r}: its line now has terminators at both ends"
        for camera in plan.cameras
        if camera.terminator and not now[camera.name].terminator
    ]
    for one in lines:
        if one.supply is None or one.candidate.supply is None:
            continue
        if one.candidate.new:
            notes.append(f"{one.line.name!r} needs a supply of its own, {one.supply.name!r}, like that of its pattern")
        elif one.supply.at != one.candidate.supply.at:
            notes.append(f"supply {one.supply.name!r} is now injected at {one.supply.at!r}")
    if any(one.candidate.new for one in lines):
        notes.append("addresses of new converters are the next free ones: ask the network's administrator")
    return notes


def _assumptions(question: Asked, wishes: Wishes) -> list[str]:
    found = [
        f"{name!r} counted as wanted every {show_time(every)}"
        + ("" if name in wishes.targets else " (assumed, since it never rests; --every says else)")
        for name, every in question.targets.items()
    ]
    found.append(
        f"pieces of cable that no plan gives: {wishes.detour:g} times the straight way between the coordinates and "
        f"{wishes.extra:g} m, in whole metres (assumed, common practice, no source)"
    )
    lost = [
        camera.name
        for camera in question.cameras
        if not question.ways.located(("camera", camera.name))
    ]  # fmt: skip
    if lost:
        found.append(f"{len(lost)} cameras have no place with coordinates, so they stay among those of their line")
    if any(one.supply is not None for one in question.field.candidates):
        found.append(
            "supplies: the lowest voltage, the most that loads take, copper at 75 C; fuses, cable sizes and mains are "
            "decided by the local code and a licensed electrician"
        )
    return found

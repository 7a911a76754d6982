"""Why cameras have no line: per camera the limit that it exceeds, where and by how much; and why not all fit."""

from __future__ import annotations

import math
from collections.abc import Iterator

from busim.analysis.split.asking import WHAT, Asked
from busim.analysis.split.laying import lowest
from busim.analysis.split.problem import Answer
from busim.analysis.split.result import LeftOver
from busim.analysis.split.wishes import Wishes

_SHOWN = 6


def left_over(asked: Asked, answer: Answer, wishes: Wishes) -> tuple[LeftOver, ...]:
    """Each camera without a line, with the reasons."""
    found = []
    for camera in answer.left:
        reasons: dict[str, list[str]] = {}
        for kind, candidate in enumerate(asked.field.candidates):
            where = f"a new one at {candidate.converter.place!r}" if candidate.new else repr(candidate.converter.name)
            for why in _alone(asked, kind, camera, wishes) or [_among(asked, answer, kind, camera)]:
                reasons.setdefault(why, []).append(where)
        texts = tuple(f"{_listed(places)}: {why}" for why, places in reasons.items())
        found.append(LeftOver(asked.cameras[camera].name, texts))
    return tuple(found)


def _listed(names: list[str]) -> str:
    more = len(names) - _SHOWN
    return ", ".join(names[:_SHOWN]) + (f" and {more} more" if more > 0 else "")


def _alone(asked: Asked, kind: int, camera: int, wishes: Wishes) -> list[str]:
    """Why the camera does not fit on such a line even alone; empty if it does."""
    problem = asked.problem
    refused = asked.refused[kind][camera]
    if refused:
        return [refused]
    found = []
    for what, share in zip(WHAT, problem.needs[kind, camera], strict=True):
        if share > 1 + 1e-9:
            found.append(_too_much(what, float(share), wishes))
    away, reach = problem.away[kind, camera], problem.kinds[kind].reach
    if math.isinf(away):
        found.append("the distance is unknown: give both a place with `at`, or put both on a line with metres")
    elif away > reach:
        found.append(f"{away:g} m of cable, {away - reach:g} m over the {reach:g} m that its baud allows")
    elif not found and not problem.alone[kind, camera]:
        found.append(_starved(asked, kind, camera))
    return found


def _too_much(what: str, share: float, wishes: Wishes) -> str:
    if what == "load":
        usable = 1 - wishes.headroom
        return (
            f"alone it takes {share * usable:.0%} of the line's time (computed), {(share - 1) * usable:.0%} over the "
            f"{usable:.0%} that may be used"
        )
    return f"alone it takes {share:.0%} of the available {what}"


def _starved(asked: Asked, kind: int, camera: int) -> str:
    problem, candidate = asked.problem, asked.field.candidates[kind]
    route, metres = problem.route(kind, frozenset((camera,)))
    names = [None if at == problem.count else problem.cameras[at] for at in route]
    feed = asked.layer.laid(candidate, names, metres).feed
    name, volts, least = ("", math.nan, math.nan) if feed is None else lowest(feed)
    if not name:
        return f"the voltage collapses on {metres:g} m of cable (computed)"
    if volts < least:
        return f"{volts:.1f} V on {metres:g} m of cable (computed), {least - volts:.1f} V less than it needs"
    return "its supply or that supply's fuse gives less than the camera takes (computed)"


def _among(asked: Asked, answer: Answer, kind: int, camera: int) -> str:
    """Why a camera that fits alone has no line: the limits of the existing lines of this kind."""
    problem = asked.problem
    lines = [line for line in answer.lines if line.kind == kind]
    if len(lines) < problem.kinds[kind].count:
        return "one more line is free; another filling order may use it"
    short = set()
    for line in lines:
        group = line.group(problem)
        if problem.label[camera] in {problem.label[other] for other in group}:
            short.add(f"its bus ID {asked.cameras[camera].bus_id} is in use there (--renumber gives it another)")
            continue
        sums = problem.needs[kind, [*group, camera]].sum(axis=0)
        over = [what for what, share in zip(WHAT, sums, strict=True) if share > 1 + 1e-9]
        short.add(f"full: with it, {over[0]} would be {sums[WHAT.index(over[0])]:.0%} of the limit" if over
                  else "the cable would be too long, or the voltages too low")  # fmt: skip
    return "; ".join(sorted(short))


def why(asked: Asked, answer: Answer) -> str:
    """Why no split was found, in one sentence; "" if one was."""
    if not answer.left:
        return ""
    problem = asked.problem
    nowhere = [camera for camera in answer.left if not problem.alone[:, camera].any()]
    if nowhere:
        return f"{len(nowhere)} of {problem.count} cameras fit on no line, even alone"
    there = sum(kind.count for kind in problem.kinds)
    short = max(_totals(asked), default=(0, ""))
    if problem.least > there:
        return f"not enough ports: at least {problem.least} lines are needed ({short[1]}), but there are {there}"
    if answer.proven:
        return f"no split exists with these {there} lines (proven)"
    return (
        f"the greedy search found no split with these {there} lines; at least {problem.least} are needed, so one may "
        "exist: try --optimal, or allow more converters (--like)"
    )


def _totals(asked: Asked) -> Iterator[tuple[int, str]]:
    """Number of lines that each limit needs, with its description."""
    problem = asked.problem
    for number, what in enumerate(WHAT):
        total = float(problem.needs[:, :, number].min(axis=0).sum())
        if math.isfinite(total):
            yield math.ceil(total - 1e-6), f"{what} of {total:.2f} full lines"
    labels = max(problem.label.count(label) for label in problem.label)
    yield labels, f"{labels} cameras have the same bus ID; --renumber gives them others"

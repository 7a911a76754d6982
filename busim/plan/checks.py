"""Checks that compare places of a plan, so that a line can be built from it.

The checks read the declared values, not the validated shapes: one wrong baud must not hide a misspelt camera
elsewhere in the file. So every check takes values of any type and skips the types that it does not look for; the
shapes report those. Two cameras with one bus ID are no error: a rehearsal starts from exactly that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from busim.foundation.schema import is_word
from busim.foundation.yaml_source import Declared, shown
from busim.plan.site_checks import SITE_CHECKS
from busim.plan.view import KINDS, Found, View, name_of, quoted


def _names_are_unique(view: View) -> Found:
    for kind, word in KINDS.items():
        yield from _unique(view, view.named(kind), word, _undeclared(view, word))
    for field, _, master in view.named("masters"):
        groups = master.get("groups")
        entries = (
            (f"{field}.groups[{index}]", group["name"], group)
            for index, group in enumerate(groups if isinstance(groups, list) else ())
            if isinstance(group, dict) and isinstance(group.get("name"), str)
        )
        yield from _unique(view, entries, "poll group")


def _undeclared(view: View, word: str) -> str:
    """A name that an order has and no entry declares: probably the one that a name declared twice should be."""
    for (kind, name), places in view.stands.items():
        if kind == word and name not in view.known[f"{kind}s"]:
            line, _ = view.document.positions[places[0][1]]
            return f"rename one of the two; line {line} names {quoted(name)}, which is not declared"
    return "rename one of the two"


def _unique(
    view: View, entries: Iterator[tuple[str, str, dict[str, Any]]], word: str, mend: str = "rename one of the two"
) -> Found:
    first: dict[str, str] = {}
    for field, name, _ in entries:
        if name in first:
            line, _ = view.document.positions[f"{first[name]}.name"]
            yield view.finding(
                f"{field}.name",
                "duplicate-name",
                f"another {word} has this name",
                found=f"{quoted(name)}, first on line {line}",
                expected="a name of its own",
                mend=mend,
            )
        first.setdefault(name, field)


def _endpoints_are_unique(view: View) -> Found:
    first: dict[str, str] = {}
    for field, entry in view.items("converters"):
        endpoint = entry.get("endpoint")
        if isinstance(endpoint, str):
            if endpoint in first:
                line, _ = view.document.positions[first[endpoint]]
                yield view.finding(
                    f"{field}.endpoint",
                    "duplicate-endpoint",
                    "another converter has this endpoint",
                    found=f"{quoted(endpoint)}, first on line {line}",
                    expected="an endpoint of its own",
                    mend="give one of the two another address or port",
                )
            first.setdefault(endpoint, f"{field}.endpoint")


def _places_exist(view: View) -> Found:
    for _, field, kind, name in view.places():
        yield from view.exists(field, f"{kind}s", name)
    for field, line in view.items("lines"):
        order = line.get("order")
        first = order[0] if isinstance(order, list) and order else None
        if isinstance(first, dict) and any(digit in str(first.get("after")) for digit in "123456789"):
            yield view.finding(
                f"{field}.order[0].after",
                "no-cable-before",
                "the first position has no cable before it",
                found=shown(first["after"]),
                expected="no `after` at the first position",
                mend="write the length at the position where that cable ends",
            )


def _stations_stand_once(view: View) -> Found:
    for kind in ("camera", "converter"):
        for field, name, _ in view.named(f"{kind}s"):
            if is_word(name) and not view.stands.get((kind, name)) and name not in view.meant[kind]:
                yield view.finding(
                    f"{field}.name",
                    "not-on-a-line",
                    f"this {kind} is on no line",
                    found=quoted(name),
                    expected="one position in the order of one line",
                    mend=f"write `- {kind}: {name[:60]}` into the order of its line",
                )
        yield from _stands_twice(view, kind)


def _stands_twice(view: View, kind: str) -> Found:
    for (stood, name), places in view.stands.items():
        if stood == kind and not view.twice(name):
            for _, field in places[1:]:
                line, _ = view.document.positions[places[0][1]]
                yield view.finding(
                    field,
                    "placed-twice",
                    f"this {kind} has a position already",
                    found=f"{quoted(name)}, first on line {line}",
                    expected="one position on one line",
                    mend="delete one of the two",
                )


def _masters_reach_lines(view: View) -> Found:
    for field, entry in view.items("masters"):
        on, through = entry.get("on") or [], entry.get("through") or []
        if bool(on) == bool(through):
            yield view.finding(
                f"{field}.on" if on else field,
                "on-or-through",
                "a master is either on lines or behind converters",
                found="both `on` and `through`" if on else "neither `on` nor `through`",
                expected="one of `on` and `through`",
                mend="delete one of the two" if on else "add `through: [NAME OF A CONVERTER]`, for example",
            )
        for key, kind in (("on", "lines"), ("through", "converters")):
            yield from view.once(field, entry, key)
            for place, name in view.words(field, entry, key):
                yield from view.exists(place, kind, name)
        yield from _stands_where_it_says(view, field, entry)


def _stands_where_it_says(view: View, field: str, entry: dict[str, Any]) -> Found:
    name = entry.get("name")
    if not isinstance(name, str):
        return
    said = {line for _, line in view.words(field, entry, "on")}
    if not said <= view.known["lines"]:
        return  # a misspelt line is reported at its own place; no guess which line was meant
    stood: set[str] = set()
    for line, place in view.stands.get(("master", name), ()):
        if line in stood:
            yield view.finding(
                place,
                "placed-twice",
                "this master has a position on this line already",
                found=quoted(name),
                expected="one position on a line",
                mend="delete one of the two",
            )
        stood.add(line)
        if line not in said:
            yield view.finding(
                place,
                "not-its-line",
                "this line is not in the `on` of this master",
                found=quoted(name),
                expected=f"{quoted(line)} in its `on`",
                mend=f"add the line to `on` of {quoted(name)}, or delete the position",
            )
    for place, line in view.words(field, entry, "on"):
        if line in view.known["lines"] and line not in stood and name not in view.meant["master"]:
            yield view.finding(
                place,
                "not-on-a-line",
                "this master has no position on this line",
                found=quoted(line),
                expected="a position in the order of the line",
                mend=f"write `- master: {name[:60]}` into the order of the line",
            )


class _Reach:
    """Cameras that a master cannot ask, as far as the plan shows: nothing that depends on a misspelt name is judged.

    It answers camera by camera, because sets would grow with masters x cameras.
    """

    def __init__(self, view: View, entry: dict[str, Any]) -> None:
        self._view = view
        lines = {line for _, line in view.words("", entry, "on")}
        converters = [name for _, name in view.words("", entry, "through")]
        self._named = {name for _, name in view.words("", entry, "cameras")}
        self._lines = lines.union(*(view.lines_of("converter", name) for name in converters))
        placed = all(view.lines_of("converter", name) for name in converters)
        self._certain = bool(self._lines) and placed and lines <= view.known["lines"]
        self._certain_of_names = self._named <= view.known["cameras"]

    def misses(self, camera: str) -> bool:
        """The camera is on none of the master's lines."""
        lines = self._view.lines_of("camera", camera)
        return self._certain and bool(lines) and lines.isdisjoint(self._lines)

    def leaves_out(self, camera: str) -> bool:
        """The master does not ask the camera."""
        named_others = bool(self._named) and self._certain_of_names and camera not in self._named
        return self.misses(camera) or (named_others and camera in self._view.known["cameras"])


def _cameras_are_reached(view: View) -> Found:
    reach: dict[str, _Reach] = {}
    for field, entry in view.items("masters"):
        own = _Reach(view, entry)
        reach.setdefault(name_of(entry), own)
        yield from view.once(field, entry, "cameras")
        for place, camera in view.words(field, entry, "cameras"):
            yield from view.exists(place, "cameras", camera)
            if own.misses(camera):
                yield view.finding(
                    place,
                    "out-of-reach",
                    "this camera is on none of the master's lines",
                    found=quoted(camera),
                    expected="a camera on a line the master reaches",
                    mend="add its line or converter to the master, or delete it here",
                )
    for field, entry in view.items("panels"):
        yield from _panel(view, field, entry, reach)


def _panel(view: View, field: str, entry: dict[str, Any], reach: dict[str, _Reach]) -> Found:
    name = entry.get("master")
    master = reach.get(name) if isinstance(name, str) else None
    if isinstance(name, str):
        yield from view.exists(f"{field}.master", "masters", name)
    yield from view.once(field, entry, "cameras")
    yield from view.once(field, entry, "controls")
    for place, camera in view.words(field, entry, "cameras"):
        yield from view.exists(place, "cameras", camera)
        if master and master.leaves_out(camera):
            yield view.finding(
                place,
                "out-of-reach",
                "the panel's master does not ask this camera",
                found=quoted(camera),
                expected=f"a camera of {quoted(str(name))}",
                mend="add its line or converter to the master"
                if master.misses(camera)
                else "add it to the master's cameras",
            )
    sticks = entry.get("joysticks")
    for index, stick in enumerate(sticks if isinstance(sticks, list) else ()):
        if isinstance(stick, dict):
            yield from _joystick(view, f"{field}.joysticks[{index}]", entry, stick)


def _joystick(view: View, field: str, panel: dict[str, Any], stick: dict[str, Any]) -> Found:
    """Its camera and controls are the panel's."""
    yield from view.once(field, stick, "controls")
    camera = stick.get("camera")
    named = [(f"{field}.camera", "cameras", camera)] if isinstance(camera, str) else []
    named += [(place, "controls", control) for place, control in view.words(field, stick, "controls")]
    for place, kind, name in named:
        held = panel.get(kind)
        if isinstance(held, list) and name not in held:
            yield view.finding(
                place,
                "not-of-the-panel",
                f"the panel of this joystick does not have this {kind.removesuffix('s')}",
                found=quoted(name),
                expected=f"one of the panel's `{kind}`",
                mend=f"add it to `{kind}` of the panel, or name another here",
            )


def _groups_name_once(view: View) -> Found:
    for field, entry in view.items("masters"):
        groups = entry.get("groups")
        for index, group in enumerate(groups if isinstance(groups, list) else ()):
            if isinstance(group, dict):
                yield from view.once(f"{field}.groups[{index}]", group, "values")


CHECKS: tuple[Callable[[View], Found], ...] = (
    _names_are_unique,
    _endpoints_are_unique,
    _places_exist,
    _stations_stand_once,
    _masters_reach_lines,
    _cameras_are_reached,
    _groups_name_once,
)


def findings(document: Declared) -> Found:
    """Every contradiction between places of a plan."""
    view = View(document)
    for check in (*CHECKS, *SITE_CHECKS):
        yield from check(view)

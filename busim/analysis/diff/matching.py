"""Pairs entries of two plans: by name or, after a rename, by a feature that stayed.

A camera and a spare are known by their serial number, which is on the unit; a converter by its endpoint; a line by its
converters and masters. The new name of an entry is put into the whole old plan, so a rename is one change and not one
per mention.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from busim.plan import Plan

KINDS = {
    "cameras": "camera",
    "converters": "converter",
    "lines": "line",
    "masters": "master",
    "panels": "panel",
    "places": "place",
    "supplies": "supply",
    "spares": "spare",
}


@dataclass(frozen=True, slots=True)
class Matched:
    """One entry in both plans; None if it is missing in one. `was`: its old name, "" if unchanged."""

    kind: str
    before: Any
    after: Any
    was: str = ""

    @property
    def name(self) -> str:
        return str((self.before if self.after is None else self.after).name)


def matched(before: Plan, after: Plan) -> tuple[Plan, list[Matched]]:
    """The old plan with the new names, and every entry with its counterpart, kind by kind in the
    order of the new plan.
    """
    renamed: dict[str, dict[str, str]] = {}
    for listed, kind in KINDS.items():
        if kind != "line":
            renamed[kind] = _renamed(getattr(before, listed), getattr(after, listed), _IDENTITIES.get(kind))
    before = _with_names(before, renamed)
    lines = _renamed(before.lines, after.lines, _askers)
    before = _with_names(before, {"line": lines})
    renamed["line"] = lines
    found = []
    for listed, kind in KINDS.items():
        old = {one.name: one for one in getattr(before, listed)}
        was = {new: name for name, new in renamed[kind].items()}
        new = {one.name: one for one in getattr(after, listed)}
        found += [Matched(kind, old.get(name), one, was.get(name, "")) for name, one in new.items()]
        found += [Matched(kind, one, None) for name, one in old.items() if name not in new]
    return before, found


def _serial(one: Any) -> Hashable:
    return one.serial or None


def _endpoint(one: Any) -> Hashable:
    return one.host, one.port


def _askers(line: Any) -> Hashable:
    return tuple(sorted((place.kind, place.name) for place in line.order if place.kind in ("converter", "master")))


_IDENTITIES: dict[str, Callable[[Any], Hashable]] = {
    "camera": _serial,
    "spare": _serial,
    "converter": _endpoint,
}


def _renamed(old: Sequence[Any], new: Sequence[Any], identity: Callable[[Any], Hashable] | None) -> dict[str, str]:
    """Old name to new name of renamed entries. An entry that keeps name and identity is left out."""
    if identity is None:
        return {}
    ours, theirs = _unique(old, identity), _unique(new, identity)
    kept = {one.name: identity(one) for one in new}
    found = {
        name: theirs[key]
        for key, name in ours.items()
        if key in theirs and theirs[key] != name and kept.get(name) != key
    }
    # A new name must not be one that another entry keeps.
    names = {one.name for one in old}
    while taken := [name for name, to in found.items() if to in names and to not in found]:
        for name in taken:
            del found[name]
    return found


def _unique(entries: Sequence[Any], identity: Callable[[Any], Hashable]) -> dict[Hashable, str]:
    counts = Counter(map(identity, entries))
    return {identity(one): one.name for one in entries if identity(one) and counts[identity(one)] == 1}


def _with_names(plan: Plan, renamed: dict[str, dict[str, str]]) -> Plan:
    """The plan with other names, at every mention."""
    if not any(renamed.values()):
        return plan
    of = {kind: renamed.get(kind, {}) for kind in KINDS.values()}
    stations = of["converter"] | of["camera"]
    everybody = {name: to for names in of.values() for name, to in names.items()}

    def all_of(names: Sequence[str], known: dict[str, str]) -> tuple[str, ...]:
        return tuple(known.get(name, name) for name in names)

    def own(entries: Sequence[Any], kind: str) -> tuple[Any, ...]:
        return tuple(replace(one, name=of[kind].get(one.name, one.name)) for one in entries)

    return replace(
        plan,
        cameras=own(plan.cameras, "camera"),
        converters=own(plan.converters, "converter"),
        spares=own(plan.spares, "spare"),
        lines=tuple(
            replace(
                line,
                order=tuple(replace(at, name=of.get(at.kind, {}).get(at.name, at.name)) for at in line.order),
                bias=replace(line.bias, at=all_of(line.bias.at, stations)),
            )
            for line in own(plan.lines, "line")
        ),
        masters=tuple(
            replace(
                one,
                on=all_of(one.on, of["line"]),
                through=all_of(one.through, of["converter"]),
                cameras=all_of(one.cameras, of["camera"]),
            )
            for one in plan.masters
        ),
        panels=tuple(replace(one, cameras=all_of(one.cameras, of["camera"])) for one in plan.panels),
        supplies=tuple(
            replace(one, at=None if one.at is None else stations.get(one.at, one.at), feeds=all_of(one.feeds, stations))
            for one in plan.supplies
        ),
        expect=tuple(replace(one, of=all_of(one.of, everybody)) for one in plan.expect),
        silenced=tuple(
            replace(one, at=None if one.at is None else everybody.get(one.at, one.at)) for one in plan.silenced
        ),
    )

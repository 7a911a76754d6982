"""From changed fields to tasks, grouped by place and time.

Every changed field gets a sentence: those below in the words of the site, every other one by its own name under the
task of its entry. So a new field of the plan is never missed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from busim.analysis.diff.cables import cables, moved, plugs, where
from busim.analysis.diff.fields import Change, of_entry
from busim.analysis.diff.matching import Matched

TASKS = {
    "hang": "mount, take down, move, relabel",
    "camera": "set in the camera before it is connected",
    "line": "set on every station of a line, at once",
    "cable": "cables, plugs and places on the line",
    "box": "set in the box",
    "supply": "supplies",
    "control": "set in controller and panels",
    "paper": "nothing to do on site: assumptions, expectations, notes",
}
_OF_KIND = {
    "camera": "camera", "converter": "box", "line": "line", "master": "control", "panel": "control", "place": "paper",
    "supply": "supply", "spare": "hang", "plan": "paper",
}  # fmt: skip
_AT_ONCE = ("baud", "format", "protocol")
# of a kind: field -> task, if it differs from the kind's own
_ELSEWHERE = {
    "camera": {"place": "hang", "model": "hang", "serial": "hang", "present": "hang", "supply": "supply",
               "turnaround": "paper", "power": "paper", "unpowered": "paper", "unit_load": "paper",
               "factory_id": "paper", "factory_baud": "paper", "factory_format": "paper", "terminator": "cable",
               "bias": "cable", "measured": "paper"},
    "converter": {"place": "hang", "supply": "supply", "power": "paper", "unit_load": "paper", "latency": "paper",
                  "factory_address": "paper", "reboots": "paper", "box": "cable", "box_port": "cable",
                  "measured": "paper", "real_port": "cable"},
    "line": {"order": "cable", "bias": "cable", "biased": "cable", "cable": "cable", "contention": "paper",
             "velocity": "paper", "bit_error_rate": "paper", "chatter": "paper"},
    "panel": {"moves": "paper", "place": "hang"},
    "supply": {"fuse_reason": "paper"},
}  # fmt: skip
_WORDS = {
    "box_port": "port of the box", "bias": "bias", "cable.gauge": "gauge of the cable", "frame_rate": "frame rate",
    "cable.supply_gauge": "gauge of the supply pair", "factory_address": "address as delivered", "bus_id": "ID",
    "factory_baud": "baud as delivered", "factory_format": "format as delivered",
    "factory_id": "ID as delivered", "packing_idle": "packing, idle", "host": "address", "poe_class": "PoE class",
    "real_port": "real port", "unit_load": "unit loads", "biased": "bias", "at": "injected at",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Said:
    """One task. `task` is one of `TASKS`; `kind` and `name`: its entity in the plan."""

    task: str
    kind: str
    name: str
    text: str


def said(entries: Sequence[Matched], of_plan: Iterable[Change]) -> list[Said]:
    """All changes, in the order of the tasks."""
    found: list[Said] = []
    lines = [one for one in entries if one.kind == "line"]
    stands = {
        (place.kind, place.name): where(one.after, place.kind, place.name)
        for one in lines
        if one.after is not None
        for place in one.after.order
    }
    supplied: set[str] = set()
    for entry in entries:
        for task, text in _entry(entry, stands, supplied):
            apart = "" if text.startswith(":") else " "
            found.append(Said(task, entry.kind, entry.name, f"{entry.kind} {entry.name!r}{apart}{text}"))
    for (kind, name, _), text in moved(lines).items():
        found.append(Said("cable", kind, name, f"{kind} {name!r} moves {text}"))
    found += [Said("paper", "plan", change.entry.name, _of_plan(change)) for change in of_plan]
    order = list(TASKS)
    return sorted(found, key=lambda one: order.index(one.task))


def _entry(entry: Matched, stands: dict[tuple[str, str], str], supplied: set[str]) -> Iterator[tuple[str, str]]:
    """Task and text, which follows the name."""
    kind, before, after = entry.kind, entry.before, entry.after
    own = "hang" if kind in ("camera", "converter", "place") else _OF_KIND[kind]
    if after is None:
        yield own, "is gone"
        return
    if before is None:
        yield own, f"is new{_new(kind, after, stands)}"
        return
    if entry.was:
        number = getattr(after, "serial", 0)
        known = f" (serial {number})" if number else ""
        yield own, f"was called {entry.was!r}{known}: give it the new label"
    if kind == "line":
        yield from (("cable", f"has {text}" if text[0].isdigit() else f": {text}") for text in _along(before, after))
    for change in of_entry(entry):
        yield from _field(change, supplied)


def _new(kind: str, one: Any, stands: dict[tuple[str, str], str]) -> str:
    """Facts about a new entry."""
    stand = stands.get((kind, one.name), "")
    at = f" on {stand}" if stand else ""
    if kind == "camera":
        serial = f", serial {one.serial}" if one.serial else ""
        return f"{at}: a {one.model}{serial}; give it ID {one.bus_id} before it is connected"
    if kind == "converter":
        return f"{at}: its address is {one.host}:{one.port}"
    if kind == "line":
        length = one.order[-1].metres if one.order else 0.0
        return f": {float(one.baud):.12g} Bd, {one.format}, {one.protocol}, {length:g} m of cable"
    return ""


def _along(before: Any, after: Any) -> Iterator[str]:
    yield from cables(before, after)
    yield from plugs(before, after)


def _field(change: Change, supplied: set[str]) -> Iterator[tuple[str, str]]:
    kind, field, after = change.entry.kind, change.field, change.entry.after
    old, new = change.texts
    top = field.split(".")[0]
    task = _ELSEWHERE.get(kind, {}).get(top, _OF_KIND[kind])
    if kind in ("camera", "converter") and field == "supply":
        supplied.add(after.name)
        yield task, f"is fed by {new} (was {old})"
    elif kind == "camera" and field == "bus_id":
        yield task, f"gets ID {new} (was {old}): set it before it is connected"
    elif kind == "camera" and field == "serial":
        yield (
            task,
            f"is replaced by another unit: serial {new} (was {old}); give it ID {after.bus_id} before it is connected",
        )
    elif kind == "camera" and field == "present":
        yield task, "is present now" if change.after else "is absent or dead now"
    elif field == "place":
        yield task, f"goes to {new} (was {old})"
    elif kind == "line" and field in _AT_ONCE:
        names = ", ".join(repr(place.name) for place in after.order if place.name)
        yield task, f": {field} {old} -> {new}: change all its stations at the same time ({names})"
    elif kind == "line" and field == "order":
        if not list(_along(change.entry.before, after)):
            yield from _reordered(change)
    elif kind == "supply" and field == "feeds":
        for name in sorted(set(change.before) ^ set(change.after) - supplied):
            yield task, f"feeds {name!r} {'too' if name in change.after else 'no longer'}"
    else:
        set_in = ": set in the box" if task == "box" else ""
        yield task, f": {_worded(field)} {old} -> {new}{set_in}"


def _reordered(change: Change) -> Iterator[tuple[str, str]]:
    """An order without metres: moves are reported per station; this is the rest."""
    old, new = ([(place.kind, place.name) for place in order] for order in (change.before, change.after))
    if sorted(old) != sorted(new) or old == new:
        yield "cable", f": order: {', '.join(name or kind for kind, name in new)}"
    else:
        yield "cable", "has a new order"


def _worded(field: str) -> str:
    if field in _WORDS:
        return _WORDS[field]
    group = re.match(r"groups\[(.*)\](?:\.(.*))?$", field)
    if group:
        return f"poll group {group[1]!r}" + (f", {_worded(group[2])}" if group[2] else "")
    return field.replace("clients.", "clients, ").replace("driver.", "").replace("_", " ").replace(".", ", ")


def _of_plan(change: Change) -> str:
    old, new = change.texts
    if change.field == "name":
        return f"the plan is called {new!r} (was {old!r})"
    if change.field.startswith("files["):
        what = "has a new text" if change.before and change.after else "is new" if change.after else "is gone"
        return f"the file {change.field[6:-1]!r} beside the plan {what}"
    if change.before is None:
        return f"{change.field} adds {new}"
    return f"{change.field} drops {old}" if change.after is None else f"{change.field}: {old} -> {new}"

"""Every changed field, found by walking the data itself, so a new field of the plan cannot be forgotten.

The order in which a file lists cameras, lines and the like means nothing on site and is ignored, and so is the order of
a supply's loads. Every other order counts: that of a line is its cable, that of a panel its keys.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any, NamedTuple

from busim.analysis.diff.matching import KINDS, Matched
from busim.analysis.diff.texts import pair
from busim.foundation.units import CharFormat, FrameRate, Range, Spread
from busim.plan import Plan, PollGroup, SupplyPlan

_WHOLE = (CharFormat, FrameRate, Range, Spread)  # values, though they have parts
# `source` and `positions` hold the same plan as text, `as_read` its fingerprint; `path`: the place of its file
_NO_MATTER = {"source", "path", "positions", "as_read"}


@dataclass(frozen=True, slots=True)
class FieldChange:
    """One field of an entry (`kind` plan: of the whole). `before` None: it is new; `after` None: it is gone."""

    kind: str
    name: str
    field: str
    before: str | None
    after: str | None


class Change(NamedTuple):
    """The same with its values."""

    entry: Matched
    field: str
    before: Any
    after: Any

    @property
    def texts(self) -> tuple[str, str]:
        return pair(self.field.rsplit(".", 1)[-1], self.before, self.after)

    def told(self) -> FieldChange:
        before, after = self.texts
        return FieldChange(self.entry.kind, self.entry.name, self.field, before, after)


def of_entry(entry: Matched) -> Iterator[Change]:
    """The changed fields of an entry in both plans, without its name: `Matched.was` has that."""
    before, after = entry.before, entry.after
    if isinstance(after, SupplyPlan):
        # The order of loads means nothing, and neither does an entry in `feeds` if the station itself names its supply.
        before, after = (replace(one, feeds=tuple(sorted(one.feeds))) for one in (before, after))
    for field, old, new in _walk(before, after, ""):
        if field != "name":
            yield Change(entry, field, old, new)


def of_plan(before: Plan, after: Plan) -> Iterator[Change]:
    """Changes of the plan outside its named entries."""
    whole = Matched("plan", before, after)
    for part in fields(Plan):
        old, new = getattr(before, part.name), getattr(after, part.name)
        if part.name in KINDS or part.name in _NO_MATTER or old == new:
            continue
        if isinstance(old, Mapping):
            for name in sorted(old.keys() | new.keys()):
                if old.get(name) != new.get(name):
                    yield Change(whole, f"files[{name}]", name in old, name in new)
        elif isinstance(old, tuple):
            yield from _unnamed(whole, part.name, old, new)
        else:
            yield Change(whole, part.name, old, new)


def _unnamed(whole: Matched, field: str, old: tuple[Any, ...], new: tuple[Any, ...]) -> Iterator[Change]:
    """Entries without names that only one of the plans has."""
    gone, come = list(old), list(new)
    for one in old:
        if one in come:
            come.remove(one)
            gone.remove(one)
    yield from (Change(whole, field, one, None) for one in gone)
    yield from (Change(whole, field, None, one) for one in come)


def _walk(before: Any, after: Any, path: str) -> Iterator[tuple[str, Any, Any]]:
    if before == after:
        return
    if is_dataclass(before) and type(before) is type(after) and not isinstance(before, _WHOLE):
        for part in fields(before):
            field = f"{path}.{part.name}" if path else part.name
            yield from _walk(getattr(before, part.name), getattr(after, part.name), field)
    elif path == "groups" and isinstance(before, tuple):
        yield from _groups(before, after, path)
    else:
        yield path, before, after


def _groups(before: tuple[PollGroup, ...], after: tuple[PollGroup, ...], path: str) -> Iterator[tuple[str, Any, Any]]:
    old, new = ({group.name: group for group in groups} for groups in (before, after))
    names = dict.fromkeys([*old, *new])
    for name in names:
        if name in old and name in new:
            yield from _walk(old[name], new[name], f"{path}[{name}]")
        else:
            yield f"{path}[{name}]", old.get(name), new.get(name)
    if list(old) != list(new) and set(old) == set(new):
        yield path, tuple(old), tuple(new)

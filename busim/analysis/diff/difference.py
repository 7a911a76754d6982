"""The difference of two plans."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from busim.analysis.diff.fields import FieldChange, of_entry, of_plan
from busim.analysis.diff.matching import matched
from busim.analysis.diff.words import Said, said
from busim.plan import Plan

SCHEMA = 1


@dataclass(frozen=True, slots=True)
class Difference:
    """Difference of two plans. `said`: tasks in words; `fields`: each changed field. Both empty: equal plans."""

    before: str
    after: str
    said: tuple[Said, ...]
    fields: tuple[FieldChange, ...]

    @property
    def equal(self) -> bool:
        return not self.said and not self.fields

    def as_json(self) -> dict[str, Any]:
        """JSON form; `schema` increases when a meaning changes."""
        return {"schema": SCHEMA, "equal": self.equal, **asdict(self)}


def diff(before: Plan, after: Plan) -> Difference:
    """The site work that leads from plan `before` to plan `after`."""
    renamed, entries = matched(before, after)
    outside = list(of_plan(renamed, after))
    fields: list[FieldChange] = []
    for entry in entries:
        if entry.before is None or entry.after is None:
            names = (None if one is None else str(one.name) for one in (entry.before, entry.after))
            fields.append(FieldChange(entry.kind, entry.name, "", *names))
            continue
        if entry.was:
            fields.append(FieldChange(entry.kind, entry.name, "name", entry.was, entry.name))
        fields += [change.told() for change in of_entry(entry)]
    fields += [change.told() for change in outside]
    return Difference(before.name, after.name, tuple(said(entries, outside)), tuple(fields))

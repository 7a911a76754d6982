"""The difference of two plans."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from busim.analysis.diff.fields import FieldChange, of_entry, of_plan
from busim.analysis.diff.matching import matched
from busim.analysis.diff.renumbering import renumbered
from busim.analysis.diff.words import Said, said
from busim.plan import Plan, raised_fuses

SCHEMA = 1
CAUTION = (
    "Caution: switch every supply off, lock it off and measure that it is dead before a plug, a cable, a fuse or a "
    "camera is touched. Supplies, fuses and mains are work for licensed people, by the local code; rigging above "
    "people for competent riggers. Heads and lenses move when they start."
)


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

    @property
    def caution(self) -> str:
        """What can hurt in the work that it takes; "" where it is on paper only."""
        return CAUTION if any(one.task not in ("paper", "control") for one in self.said) else ""

    def as_json(self) -> dict[str, Any]:
        """JSON form; `schema` increases when a meaning changes."""
        return {"schema": SCHEMA, "equal": self.equal, "caution": self.caution or None, **asdict(self)}


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
    told = said(entries, outside)
    told += [Said("camera", "line", line, f"line {line!r}{text}") for line, text in renumbered(before, after)]
    told += [Said("supply", "supply", name, text) for name, text in _raised(before, after)]
    return Difference(before.name, after.name, tuple(told), tuple(fields))


def _raised(before: Plan, after: Plan) -> Iterator[tuple[str, str]]:
    """Fuses that are raised without a reason in the plan."""
    for fuse in raised_fuses(before, after):
        yield (
            fuse.supply,
            f"supply {fuse.supply!r}: DO NOT FIT the larger fuse of {fuse.now:g} A (was {fuse.was:g} A) before "
            "`fuse_reason` in the plan says why the cable bears it, and who answers for it",
        )

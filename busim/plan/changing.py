"""A plan with changed values: its text is changed and read again, so that text and data always agree.

A trace keeps the text of its plan, and replay reads that. So a plan whose data were exchanged (`dataclasses.replace`)
would replay as another plan; whatever needs the text asks for it here, and such a plan is refused.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from busim.foundation.errors import UserError
from busim.foundation.yaml_source import Declared, Rewriting, flow, parse
from busim.plan.reader import files_beside, fingerprint, read_text
from busim.plan.types import Plan


def change(plan: Plan, values: Mapping[str, Any]) -> Plan:
    """The plan with changed values, by field: `change(plan, {"cameras[left mat].bus_id": 5, "name": "hall 2"})`.

    Fields are those of `busim plan set`; text is read as it would be in the file. Everything else stays, comments too.
    Raises UserError for an unknown field, and Findings if the result is not a valid plan.
    """
    texts = {field: value if isinstance(value, str) else flow(value) for field, value in values.items()}
    text, _ = rewrite(parse(source_text(plan), plan.path), texts)
    changed = read_text(text, plan.path, plan.files)
    if not plan.path:
        return changed
    return replace(changed, files={**files_beside(changed), **plan.files})


def rewrite(document: Declared, values: Mapping[str, str]) -> tuple[str, list[str]]:
    """The text of the file with changed values, and one line per value: its field, new value and old value.

    Raises UserError with the field if a value cannot be set.
    """
    rewriting = Rewriting(document)
    told = []
    for field, text in values.items():
        try:
            path, before = rewriting.set(field, text)
        except UserError as error:
            if error.file is None:  # the error is about the new value, which is in no file
                error.field, error.line, error.column = field, None, None
            raise
        told.append(f"{path}: {text} (was {before or 'not written'})")
    return rewriting.text(), told


def source_text(plan: Plan) -> str:
    """The text of the plan. Raises UserError if its data changed after it was read."""
    if fingerprint(plan) != plan.as_read:
        raise UserError(
            "the plan's data are not those of its text",
            file=plan.path or None,
            found="a plan that was changed in memory (dataclasses.replace), or made there",
            expected="a plan as it was read: a trace keeps its text, and would replay as another plan",
            mend='change it with busim.change_plan(plan, {"cameras[left mat].bus_id": 5}), or read it from a text',
        )
    return plan.source


@dataclass(frozen=True, slots=True)
class RaisedFuse:
    """A fuse that got larger without a reason in the plan: its supply, the supply's number from 0, and both in A."""

    supply: str
    number: int
    was: float
    now: float

    @property
    def text(self) -> str:
        return f"{self.now:g} A, was {self.was:g} A"


def raised_fuses(before: Plan, after: Plan) -> Iterator[RaisedFuse]:
    """The fuses that a change raises without a reason; the reason for the old fuse is none for the new one."""
    old = {supply.name: supply for supply in before.supplies}
    for number, supply in enumerate(after.supplies):
        was = old.get(supply.name)
        if was is None or was.fuse is None or supply.fuse is None or supply.fuse <= was.fuse:
            continue
        if supply.fuse_reason in ("", was.fuse_reason):
            yield RaisedFuse(supply.name, number, was.fuse, supply.fuse)

"""A what-if: what it says beforehand, and how its steps are made for one line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from busim.commissioning.rehearse.result import Rehearsal
from busim.commissioning.rehearse.script import Planned, line_steps
from busim.commissioning.rehearse.steps import Assumed, Step
from busim.plan import Plan
from busim.protocols import BusProtocol


@dataclass(frozen=True, slots=True)
class Setting:
    """Input of a what-if: one line of a plan, its cameras in connecting order, the assumed handling times."""

    plan: Plan
    line: str
    protocol: BusProtocol
    cameras: tuple[Planned, ...]
    everybody: dict[str, Planned]
    assumed: Assumed

    @property
    def right(self) -> list[Step]:
        """The steps without a mistake."""
        return list(line_steps(self.plan, self.everybody, self.line, self.assumed))


Make = Callable[[Setting], list[Step]]


class NotHere(Exception):
    """A what-if that cannot happen on this line; the message says why."""


@dataclass(frozen=True, slots=True)
class WhatIf:
    """A mistake or mishap. `shows`: kinds of step that fail, `codes`: their reasons. The texts are for the crew."""

    name: str
    title: str
    wrong: str
    looks: str
    find: str
    mend: str
    shows: tuple[str, ...]
    codes: tuple[str, ...]
    make: Make

    def as_json(self) -> dict[str, Any]:
        """Its texts, expected steps and expected reasons."""
        return {
            "what_if": self.name, "title": self.title, "goes_wrong": self.wrong, "looks_like": self.looks,
            "find": self.find, "mend": self.mend, "shows_at": list(self.shows), "reasons": list(self.codes),
        }  # fmt: skip

    def as_told(self, rehearsal: Rehearsal) -> bool:
        """Whether the first failed step is an expected kind, with an expected reason."""
        first = next(iter(rehearsal.failed), None)
        return first is not None and first.reason is not None and (
            first.step.do in self.shows and first.reason.code in self.codes
        )  # fmt: skip

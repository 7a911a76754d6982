"""What came of a rehearsal, as data: each step with its outcome, what was heard, and why it failed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from busim.commissioning.rehearse.steps import Assumed, Step

SCHEMA = 1

OK, FAILED, SKIPPED = "ok", "failed", "skipped"


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a step failed, which only an emulator can say for certain: a fixed word, a sentence, how to mend it."""

    code: str
    why: str
    mend: str


@dataclass(frozen=True, slots=True)
class Done:
    """A step that was done, or skipped. `number` from 1; `at`, `simulated`: ns when it began, and took.

    `seen`: what the laptop heard; `look`: what somebody has to confirm by eye. `reason` None: it did not fail.
    """

    number: int
    step: Step
    outcome: str
    at: int
    simulated: int
    seen: str
    look: str = ""
    reason: Reason | None = None

    def as_json(self) -> dict[str, Any]:
        step, reason = self.step, self.reason
        return {
            "number": self.number,
            "do": step.do,
            "line": step.line or None,
            "camera": step.camera or None,
            "id": step.id,
            "outcome": self.outcome,
            "at_s": {"value": self.at / 1e9, "kind": "simulated"},
            "wire_s": {"value": self.simulated / 1e9, "kind": "simulated"},
            "handling_s": {"value": step.handling / 1e9, "kind": "assumed"},
            "seen": self.seen,
            "look": self.look or None,
            "reason": None if reason is None else {"code": reason.code, "why": reason.why, "mend": reason.mend},
            "written_at": None if step.place is None else {"line": step.place[0], "column": step.place[1]},
        }


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """`ids`: the bus ID that each camera is to have; `proposed`: those among them that the plan does not have so."""

    plan: str
    seed: int
    done: tuple[Done, ...]
    ids: dict[str, int]
    proposed: tuple[str, ...]
    assumed: Assumed
    what_if: str = ""

    @property
    def failed(self) -> tuple[Done, ...]:
        return tuple(one for one in self.done if one.outcome == FAILED)

    @property
    def ok(self) -> bool:
        """Whether something was done and nothing failed."""
        return not self.failed and any(one.outcome == OK for one in self.done)

    @property
    def simulated(self) -> int:
        """ns of wire, cameras and waiting."""
        return sum(one.simulated for one in self.done)

    @property
    def handling(self) -> int:
        """ns of hands, as assumed, in steps that were not skipped."""
        return sum(one.step.handling for one in self.done if one.outcome != SKIPPED)

    def as_json(self) -> dict[str, Any]:
        return {
            "schema": SCHEMA,
            "plan": self.plan,
            "seed": self.seed,
            "what_if": self.what_if or None,
            "ok": self.ok,
            "wire_s": {"value": self.simulated / 1e9, "kind": "simulated"},
            "handling_s": {"value": self.handling / 1e9, "kind": "assumed"},
            "ids": {camera: {"id": id, "proposed": camera in self.proposed} for camera, id in self.ids.items()},
            "assumed": list(self.assumed.sentences),
            "steps": [one.as_json() for one in self.done],
        }

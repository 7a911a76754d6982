"""Result of a rehearsal: each step with its outcome, the bytes or values received, and the reason if it failed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from busim.commissioning.rehearse.steps import CAUTIONS, Assumed, Step

SCHEMA = 1

OK, FAILED, SKIPPED = "ok", "failed", "skipped"

# the codes of reasons
TWO_ANSWERED, NOT_SAVED, OTHER_ID, WRONG_CAMERA = "two-answered", "not-saved", "other-id", "wrong-camera"
NO_POWER, UNPLUGGED, CUT, STARTING = "no-power", "unplugged", "cut", "starting"
SWAPPED, WRONG_BAUD, WRONG_FORMAT = "swapped", "wrong-baud", "wrong-format"
DAMAGED, REFUSED, FOREIGN, NO_ORDER, OTHER_UNIT = "damaged", "refused", "foreign", "no-order", "other-unit"
MOVED_OTHERS, NOT_MOVED, SILENT, NOISE = "moved-others", "not-moved", "silent", "noise"
DECLINED, UNSEEN = "declined", "unseen"


@dataclass(frozen=True, slots=True)
class Reason:
    """Cause of a failed step, as the emulator knows it. `code`: fixed word; `why`: one sentence; `mend`: what to do."""

    code: str
    why: str
    mend: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """Result of one step. `seen`, `look`, `reason`: as in `Done`; `confirmed`: the look was already."""

    outcome: str
    seen: str
    look: str = ""
    reason: Reason | None = None
    confirmed: bool = False


@dataclass(frozen=True, slots=True)
class Done:
    """A step that was done or skipped. `number` counts from 1; `at`: start, `simulated`: duration, both ns.

    `seen`: what the laptop received; `look`: what the crew confirms by eye; `reason`: None unless the step failed.
    `asked`: the bus ID at which the camera was asked, where the step asks one.
    """

    number: int
    step: Step
    outcome: str
    at: int
    simulated: int
    seen: str
    look: str = ""
    reason: Reason | None = None
    asked: int | None = None

    def as_json(self) -> dict[str, Any]:
        step, reason = self.step, self.reason
        return {
            "number": self.number,
            "do": step.do,
            "line": step.line or None,
            "camera": step.camera or None,
            "bus_id": step.bus_id,
            "asked_at_bus_id": self.asked,
            "supply": step.supply or None,
            "takes_along": list(step.along),
            "caution": CAUTIONS.get(step.do),
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
    """All steps of a rehearsal. `bus_ids`: target of each camera; `proposed`: cameras whose ID is not the plan's."""

    plan: str
    seed: int
    done: tuple[Done, ...]
    bus_ids: dict[str, int]
    proposed: tuple[str, ...]
    assumed: Assumed
    what_if: str = ""

    @property
    def failed(self) -> tuple[Done, ...]:
        return tuple(one for one in self.done if one.outcome == FAILED)

    @property
    def ok(self) -> bool:
        """Whether at least one step was done and none failed."""
        return not self.failed and any(one.outcome == OK for one in self.done)

    @property
    def simulated(self) -> int:
        """Simulated ns: wire, cameras and waiting."""
        return sum(one.simulated for one in self.done)

    @property
    def handling(self) -> int:
        """Assumed ns of handling by people, without skipped steps."""
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
            "bus_ids": {
                camera: {"bus_id": bus_id, "proposed": camera in self.proposed}
                for camera, bus_id in self.bus_ids.items()
            },
            "assumed": list(self.assumed.sentences),
            "cautions": list(dict.fromkeys(CAUTIONS[one.step.do] for one in self.done if one.step.do in CAUTIONS)),
            "steps": [one.as_json() for one in self.done],
        }

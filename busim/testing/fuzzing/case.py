"""A case: the events of an installation in one run, as data that can be drawn, shrunk, saved and repeated."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from busim.plan import FaultPlan, Plan


class FaultEvent(NamedTuple):
    """One fault: its `kind` (a name of the catalogue, `busim explain faults`), its place (camera, line or converter),
    its start and its length (ns), its `parameters` as written in a plan.
    """

    kind: str
    target: str
    at: int
    length: int
    parameters: tuple[tuple[str, str], ...] = ()


class Action(NamedTuple):
    """An operator's move: `control` of `camera` to `value`, at `at` ns; `step`: by this many steps instead."""

    at: int
    camera: str
    control: str
    value: int
    step: bool = False


@dataclass(frozen=True, slots=True)
class Case:
    """`seed` of the installation's random numbers, `length` of the run in ns."""

    seed: int
    length: int
    faults: tuple[FaultEvent, ...] = ()
    actions: tuple[Action, ...] = ()

    @property
    def only_fault(self) -> str:
        """The fault that all its events are of; empty if there is none, or more than one."""
        kinds = {one.kind for one in self.faults}
        return kinds.pop() if len(kinds) == 1 else ""

    def as_json(self) -> dict[str, Any]:
        """JSON-ready."""
        return {
            "seed": self.seed,
            "length": self.length,
            "faults": [list(one) for one in self.faults],
            "actions": [list(one) for one in self.actions],
        }


def case_of(entry: dict[str, Any]) -> Case:
    """The case from which `as_json` made this."""
    return Case(
        entry["seed"],
        entry["length"],
        tuple(
            FaultEvent(kind, target, at, length, tuple((name, value) for name, value in parameters))
            for kind, target, at, length, parameters in entry["faults"]
        ),
        tuple(Action(*one) for one in entry["actions"]),
    )


def scheduled(plan: Plan, case: Case) -> Plan:
    """The plan with the faults of a case in its schedule."""
    entries = [
        FaultPlan(one.kind, (one.target,), one.at, one.length, parameters=dict(one.parameters)) for one in case.faults
    ]
    return replace(plan, faults=(*plan.faults, *entries)) if entries else plan

"""A case: what happens to an installation in one run, as data that can be drawn, shrunk, saved and run again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple


class FaultEvent(NamedTuple):
    """One fault: its `kind`, the camera (or the line, or the converter) it is at, from when and for how long (ns).

    A kind of the catalogue (`busim explain faults`) has `parameters`, as one writes them in a plan; those that the
    campaign brings itself (`injected`) have an `amount`, and each says of what.
    """

    kind: str
    target: str
    at: int
    length: int
    amount: int = 0
    parameters: tuple[tuple[str, str], ...] = ()


class Action(NamedTuple):
    """An operator's move: `control` of `camera` to `value`, at `at` ns; `step`: by so many steps instead."""

    at: int
    camera: str
    control: str
    value: int
    step: bool = False


@dataclass(frozen=True, slots=True)
class Case:
    """`seed` of the installation's chance, `length` of the run in ns."""

    seed: int
    length: int
    faults: tuple[FaultEvent, ...] = ()
    actions: tuple[Action, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """JSON-ready."""
        return {
            "seed": self.seed,
            "length": self.length,
            "faults": [list(one) for one in self.faults],
            "actions": [list(one) for one in self.actions],
        }


def case_of(entry: dict[str, Any]) -> Case:
    """The case that `as_json` made this of."""
    return Case(
        entry["seed"],
        entry["length"],
        tuple(
            FaultEvent(kind, target, at, length, amount, tuple((name, value) for name, value in parameters))
            for kind, target, at, length, amount, parameters in entry["faults"]
        ),
        tuple(Action(*one) for one in entry["actions"]),
    )

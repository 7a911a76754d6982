"""A camera model: a table of parameters, the locks among them, and where each dialect finds them.

A model is data, so that a camera nobody here has seen is a file and not a change of the program. `meaning` says
what a parameter is for in words that all models share, so that a panel or a judge works with any of them.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Parameter:
    """One value of a camera, an integer of 0..65535 as carried on the wire.

    `kind` is range, choice, switch or reading; `low`, `high` and `default` are counts, `scale` is `unit` per
    count; `choices` names the counts of a choice, from `low` on.
    """

    name: str
    meaning: str
    group: str
    kind: str
    low: int
    high: int
    default: int
    unit: str
    scale: float
    writable: bool
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Lock:
    """While parameter `when` equals `equals`, a write to one of `locks` is refused, for `reason`."""

    when: str
    equals: int
    locks: tuple[str, ...]
    reason: str


@dataclass(frozen=True, slots=True)
class Model:
    """A camera model. `keys`: dialect name -> parameter name -> register; to be read only."""

    name: str
    title: str
    parameters: tuple[Parameter, ...]
    locks: tuple[Lock, ...]
    keys: dict[str, dict[str, int]]

"""The result of a split as plain data: for the table, for JSON, for notebooks. Lengths in m."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

from busim.plan import Plan

SCHEMA = 1


@dataclass(frozen=True, slots=True)
class Stop:
    """A station in the order of the cable. `after`: m of cable before it; `planned`: as the plan says, else computed.

    `bus_id`: bus ID of a camera, None of a converter; `was`: its ID in the plan, if that differs.
    """

    kind: str
    name: str
    after: float
    planned: bool
    bus_id: int | None = None
    was: int | None = None


@dataclass(frozen=True, slots=True)
class SplitLine:
    """One line of the result. `load` as the budget computes it for the whole line, all masters together.

    `unchanged`: the same cameras in the same order as in the plan. `reach`: the longest cable at this baud. `watts`:
    the highest power of the loads fed along the line, and `limit` that of its supply (None: not planned); `lowest`: the
    voltage with the least reserve, at `lowest_at`, which needs `needed`.
    """

    name: str
    converter: str
    place: str | None
    box: str | None
    new: bool
    unchanged: bool
    stops: tuple[Stop, ...]
    cameras: int
    metres: float
    reach: float
    load: float
    headroom: float
    unit_loads: float
    supply: str | None = None
    supply_at: str | None = None
    watts: float | None = None
    limit: float | None = None
    lowest: float | None = None
    lowest_at: str | None = None
    needed: float | None = None


@dataclass(frozen=True, slots=True)
class LeftOver:
    """A camera without a line: `reasons` by converter, equal ones together."""

    camera: str
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Split:
    """`way`: greedy or optimal. `least`: a lower bound of the lines. `proven`: no split has fewer lines (or, with
    cameras left over, there is none at all); `shortest`: nor fewer metres. `why`: why no split was found, "" if one
    was.

    `unused`: converters of the plan that no camera needs. `alone`: lines that took no part, and why. `new_plan`: the
    plan for `--write`; None with cameras left over. `likes`: new line, converter or supply to its pattern.
    """

    plan: str
    way: str
    headroom_wanted: float
    lines: tuple[SplitLine, ...]
    left_over: tuple[LeftOver, ...]
    why: str
    least: int
    proven: bool
    shortest: bool
    unused: tuple[str, ...]
    alone: dict[str, str]
    notes: tuple[str, ...]
    assumptions: tuple[str, ...]
    new_plan: Plan | None = field(default=None, repr=False)
    likes: dict[str, str] = field(default_factory=dict)

    @property
    def metres(self) -> float:
        return sum(line.metres for line in self.lines)

    def as_json(self) -> dict[str, Any]:
        """JSON-ready; `schema` rises when a meaning changes."""
        plain = {**{name: getattr(self, name) for name in self.__slots__}, "new_plan": None}
        whole = asdict(Split(**plain))
        del whole["new_plan"]
        return {"schema": SCHEMA, **whole, "metres": self.metres}

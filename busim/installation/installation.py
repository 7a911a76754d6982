"""The installation that a plan describes: lines with their stations, who asks whom, and what could not be resolved."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from busim.foundation.diagnostics import Finding
from busim.foundation.errors import Defect
from busim.installation.asking import Asker, ResolvedPanel
from busim.installation.origins import Origins
from busim.installation.stations import ResolvedCamera, ResolvedConverter, ResolvedMaster, Station
from busim.plan import DriverPlan, LinePlan, Plan, SparePlan, SupplyPlan
from busim.plan.models import Model
from busim.protocols import BusProtocol


class Driving(NamedTuple):
    """A station that drives the pair. `field`: its path in the plan."""

    field: str
    name: str
    driver: DriverPlan


@dataclass(frozen=True)
class ResolvedLine:
    """A line. `stations` in its order, terminators included; `cameras`, `converters` and `askers` likewise.

    `protocol`: None where it cannot be had; in an installation that `resolve` gave, it is there. `usable`: nothing on
    the line is in the way of a run or a budget.
    """

    field: str
    line: LinePlan
    stations: tuple[Station, ...]
    askers: tuple[Asker, ...]
    protocol: BusProtocol | None
    usable: bool

    @property
    def name(self) -> str:
        return self.line.name

    @property
    def speaks(self) -> BusProtocol:
        """The protocol of the line."""
        if self.protocol is None:
            raise Defect(f"line {self.name!r} was used, and its protocol is not known")
        return self.protocol

    @cached_property
    def cameras(self) -> tuple[ResolvedCamera, ...]:
        return tuple(one.at for one in self.stations if isinstance(one.at, ResolvedCamera))

    @cached_property
    def converters(self) -> tuple[ResolvedConverter, ...]:
        return tuple(one.at for one in self.stations if isinstance(one.at, ResolvedConverter))

    @property
    def asking(self) -> list[Driving]:
        """The stations that requests come from: converters, and masters on the line."""
        boxes = [Driving(one.field, one.name, one.converter.driver) for one in self.converters]
        here = (one for one in self.askers if one.converter is None)
        return boxes + [Driving(one.field, one.master.name, one.master.driver) for one in here]

    @property
    def places(self) -> list[Driving]:
        """Every station of the line that drives."""
        return self.asking + [Driving(one.field, one.name, one.camera.driver) for one in self.cameras]


@dataclass(frozen=True, slots=True)
class ResolvedSupply:
    """A supply and the stations that it feeds."""

    field: str
    supply: SupplyPlan
    feeds: tuple[ResolvedCamera | ResolvedConverter, ...]


@dataclass(frozen=True, slots=True)
class ResolvedSpare:
    """Spare units. `known`: their model, None where it cannot be had."""

    field: str
    spare: SparePlan
    known: Model | None

    @property
    def factory_id(self) -> int | None:
        """The bus ID with which they come: as written, or their model's; None where neither is known."""
        if self.spare.id is not None:
            return self.spare.id
        return None if self.known is None else self.known.bus.factory_id


@dataclass(frozen=True)
class Installation:
    """What a plan describes. `cameras`: those that stand on a line; `converters`: those on no line too. Every map goes
    by name, in the plan's order.

    `findings`: what could not be resolved; empty in an installation that `resolve` gave.
    """

    plan: Plan
    lines: tuple[ResolvedLine, ...]
    cameras: Mapping[str, ResolvedCamera]
    converters: Mapping[str, ResolvedConverter]
    masters: Mapping[str, ResolvedMaster]
    panels: tuple[ResolvedPanel, ...]
    supplies: tuple[ResolvedSupply, ...]
    spares: tuple[ResolvedSpare, ...]
    findings: tuple[Finding, ...] = ()

    @cached_property
    def origin(self) -> Origins:
        """Where the value of a field comes from: `installation.origin("cameras[2].turnaround")`."""
        return Origins(self.plan)

    @cached_property
    def line_of(self) -> Mapping[str, ResolvedLine]:
        """Name of a camera to its line."""
        lines = {one.name: one for one in self.lines}
        return {name: lines[camera.line] for name, camera in self.cameras.items()}

    def askers(self, master: str) -> Iterator[Asker]:
        """What a master is on each of its lines."""
        return (one for line in self.lines for one in line.askers if one.master.name == master)

    @property
    def restless(self) -> frozenset[str]:
        """Masters that have polls without a wanted rate."""
        return frozenset(one.name for one in self.plan.masters if any(not group.every for group in one.groups))

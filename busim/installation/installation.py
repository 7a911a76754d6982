"""The installation that a plan describes: lines with their stations, askers, and findings about unresolved names."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from busim.foundation.diagnostics import Finding
from busim.foundation.errors import Defect
from busim.installation.asking import Asker, ResolvedPanel
from busim.installation.origins import Origins
from busim.installation.stations import Port, ResolvedCamera, ResolvedConverter, ResolvedMaster, ResolvedPort, Station
from busim.plan import DriverPlan, LinePlan, Place, Plan, SparePlan, SupplyPlan, standing
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

    `protocol`: None if not found, never None in a result of `resolve`. `usable`: the line can be run and
    budgeted.
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
            raise Defect(f"line {self.name!r} was used although its protocol is unknown")
        return self.protocol

    @cached_property
    def cameras(self) -> tuple[ResolvedCamera, ...]:
        return tuple(one.at for one in self.stations if isinstance(one.at, ResolvedCamera))

    @cached_property
    def converters(self) -> tuple[ResolvedConverter, ...]:
        return tuple(one.at for one in self.stations if isinstance(one.at, ResolvedConverter))

    @cached_property
    def ways_in(self) -> tuple[ResolvedConverter, ...]:
        """Where a laptop can be connected: converters, and real ports that stand on the line, in its order."""
        stations = (one.at for one in self.stations)
        return tuple(
            one.box if isinstance(one, ResolvedPort) else one
            for one in stations if isinstance(one, ResolvedConverter | ResolvedPort)
        )  # fmt: skip

    @property
    def adapter(self) -> ResolvedConverter:
        """A laptop's own adapter across the pair, at the first position: each byte passes at once."""
        port = Port(self.line.baud, self.line.format, DriverPlan())
        return ResolvedConverter(self.field, standing(Place("port", "the laptop's adapter", 0.0)), self.name, 0.0, port)

    @property
    def asking(self) -> list[Driving]:
        """The stations that send requests: converters, and masters on the line."""
        boxes = [Driving(one.field, one.name, one.converter.driver) for one in self.converters]
        here = (one for one in self.askers if one.converter is None)
        return boxes + [Driving(one.field, one.master.name, one.master.driver) for one in here]

    @property
    def places(self) -> list[Driving]:
        """Every station that drives the line."""
        return self.asking + [Driving(one.field, one.name, one.camera.driver) for one in self.cameras]


@dataclass(frozen=True, slots=True)
class ResolvedSupply:
    """A supply and the stations that it feeds."""

    field: str
    supply: SupplyPlan
    feeds: tuple[ResolvedCamera | ResolvedConverter, ...]


@dataclass(frozen=True, slots=True)
class ResolvedSpare:
    """Spare units. `known`: their model, None if not found."""

    field: str
    spare: SparePlan
    known: Model | None

    @property
    def factory_id(self) -> int | None:
        """Their bus ID as delivered: from the plan or their model; None if neither has it."""
        if self.spare.bus_id is not None:
            return self.spare.bus_id
        return None if self.known is None else self.known.bus.factory_id


@dataclass(frozen=True)
class Installation:
    """The resolved plan. `cameras`: only those on a line; `converters`: all. Every map is by name, in the order of the
    plan.

    `findings`: names that could not be resolved; empty in a result of `resolve`.
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
        """The origin of the value of a field: `installation.origin("cameras[2].turnaround")`."""
        return Origins(self.plan)

    @cached_property
    def line_of(self) -> Mapping[str, ResolvedLine]:
        """Name of a camera to its line."""
        lines = {one.name: one for one in self.lines}
        return {name: lines[camera.line] for name, camera in self.cameras.items()}

    def askers(self, master: str) -> Iterator[Asker]:
        """The asker of a master on each of its lines."""
        return (one for line in self.lines for one in line.askers if one.master.name == master)

    @property
    def restless(self) -> frozenset[str]:
        """Names of masters with poll groups that have no wanted rate."""
        return frozenset(one.name for one in self.plan.masters if any(not group.every for group in one.groups))

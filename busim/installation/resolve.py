"""Resolves a plan to the installation that it describes, and reports all unresolved names at once.

The reader of plans knows neither protocols nor models, so names are looked up here. Every command resolves first, so
all commands refuse the same plans, with the same diagnostics.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from busim.foundation.diagnostics import Findings
from busim.installation.asking import Asker, Command, ResolvedJoystick, ResolvedPanel
from busim.installation.installation import Installation, ResolvedLine, ResolvedSpare, ResolvedSupply
from busim.installation.policy import POLICY
from busim.installation.stations import (
    Port,
    ResolvedCamera,
    ResolvedConverter,
    ResolvedMaster,
    ResolvedPort,
    Station,
)
from busim.installation.unresolved import Named, unresolved
from busim.plan import DriverPlan, LinePlan, PanelPlan, Place, Plan, standing

_MOST = 500  # findings; a longer list would not help


def resolve(plan: Plan | Installation) -> Installation:
    """The installation of a plan; an installation comes back unchanged.

    Raises Findings for every protocol, model, bus ID, value and control in the plan that cannot be resolved.
    """
    installation = outline(plan)
    if installation.findings:
        raise Findings(installation.findings)
    return installation


def outline(plan: Plan | Installation) -> Installation:
    """The installation as far as it can be resolved, with the rest as `findings`. Raises nothing but Defect."""
    return plan if isinstance(plan, Installation) else _Resolver(plan).installation()


@dataclass(frozen=True, slots=True)
class _Stand:
    """The place of a camera or converter: its line and its position there."""

    line: LinePlan
    place: Place

    def port(self, driver: DriverPlan) -> Port:
        return _port(self.line, driver)


def _port(line: LinePlan, driver: DriverPlan) -> Port:
    return Port(driver.baud or line.baud, driver.format or line.format, driver)


class _Resolver:
    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._stands = {
            (place.kind, place.name): _Stand(line, place)
            for line in plan.lines
            for place in line.order
            if place.kind in ("camera", "converter")
        }
        self._named = Named(plan)
        self._cameras = dict(self._each_camera())
        self._converters = dict(self._each_converter())
        self._masters = {one.name: ResolvedMaster(f"masters[{index}]", one) for index, one in enumerate(plan.masters)}

    def installation(self) -> Installation:
        plan = self._plan
        lines = [self._line(index, line) for index, line in enumerate(plan.lines)]
        asked: dict[str, list[ResolvedCamera]] = {name: [] for name in self._masters}
        for line in lines:
            for asker in line.askers:
                asked[asker.master.name] += asker.cameras
        panels = (self._panel(index, panel, asked[panel.master]) for index, panel in enumerate(plan.panels))
        stations: Mapping[str, ResolvedCamera | ResolvedConverter] = {**self._converters, **self._cameras}
        supplies = (
            ResolvedSupply(f"supplies[{index}]", one, tuple(stations[name] for name in one.feeds if name in stations))
            for index, one in enumerate(plan.supplies)
        )
        spares = tuple(
            ResolvedSpare(f"spares[{index}]", one, self._named.model(one.model))
            for index, one in enumerate(plan.spares)
        )
        found = sorted(unresolved(self._named, self._cameras, asked), key=lambda finding: finding.order)[:_MOST]
        return Installation(
            plan, tuple(lines), self._cameras, self._converters, self._masters, tuple(panels), tuple(supplies),
            spares, tuple(found),
        )  # fmt: skip

    # -- stations ---------------------------------------------------------------------------------------------

    def _each_camera(self) -> Iterator[tuple[str, ResolvedCamera]]:
        for index, camera in enumerate(self._plan.cameras):
            at = self._stands.get(("camera", camera.name))
            if at is None:
                continue  # only a split that could not place a camera leaves one without a line
            known, spoken = self._named.model(camera.model), self._named.spoken(camera.model, at.line.protocol)
            yield (
                camera.name,
                ResolvedCamera(
                    f"cameras[{index}]", camera, at.line.name, at.place.metres, at.port(camera.driver), known, spoken
                ),
            )

    def _each_converter(self) -> Iterator[tuple[str, ResolvedConverter]]:
        for index, converter in enumerate(self._plan.converters):
            field, at = f"converters[{index}]", self._stands.get(("converter", converter.name))
            if at is None:
                yield converter.name, ResolvedConverter(field, converter)
            else:
                yield (
                    converter.name,
                    ResolvedConverter(field, converter, at.line.name, at.place.metres, at.port(converter.driver)),
                )

    # -- lines ------------------------------------------------------------------------------------------------

    def _line(self, index: int, line: LinePlan) -> ResolvedLine:
        field = f"lines[{index}]"
        stations = tuple(
            Station(at := f"{field}.order[{number}]", place, self._at(place, line, at))
            for number, place in enumerate(line.order)
        )
        protocol = self._named.protocol(line.protocol)
        cameras = tuple(one.at for one in stations if isinstance(one.at, ResolvedCamera))
        usable = protocol is not None and all(
            one.spoken is not None and protocol.addresses[0] <= one.camera.bus_id <= protocol.addresses[1]
            for one in cameras
        )
        return ResolvedLine(field, line, stations, tuple(self._askers(line, cameras)), protocol, usable)

    def _at(
        self, place: Place, line: LinePlan, field: str
    ) -> ResolvedCamera | ResolvedConverter | ResolvedMaster | ResolvedPort | None:
        if place.kind == "port":
            box = ResolvedConverter(field, standing(place), line.name, place.metres, _port(line, DriverPlan()))
            return ResolvedPort(f"{field}.port", box)
        if place.kind == "camera":
            return self._cameras[place.name]
        if place.kind == "converter":
            return self._converters[place.name]
        return self._masters.get(place.name) if place.kind == "master" else None

    def _askers(self, line: LinePlan, cameras: tuple[ResolvedCamera, ...]) -> Iterator[Asker]:
        """Masters in the order of the plan; each one directly on the line first, then through its converters."""
        own = {place.name: place.metres for place in line.order if place.kind == "master"}
        protocol = self._named.protocol(line.protocol)
        for one in self._masters.values():
            boxes = [self._converters[name] for name in one.master.through if name in self._converters]
            here: list[tuple[ResolvedConverter | None, float]] = [
                (box, box.metres or 0.0) for box in boxes if box.line == line.name
            ]
            if line.name in one.master.on:
                here.insert(0, (None, own[one.name]))
            if not here:
                continue
            names = set(one.master.cameras)
            asked = tuple(camera for camera in cameras if not names or camera.name in names)
            policy = replace(POLICY, failures=one.master.offline_after)
            for box, metres in here:
                port = _port(line, one.master.driver if box is None else box.converter.driver)
                yield Asker(one.field, one.master, line.name, box, port, metres, asked, protocol, policy)

    # -- panels -----------------------------------------------------------------------------------------------

    def _panel(self, index: int, panel: PanelPlan, asked: list[ResolvedCamera]) -> ResolvedPanel:
        """The panel with its valid commands; each invalid one has a finding."""
        reached = {camera.name for camera in asked}
        able = []
        for name in panel.cameras:
            spoken = self._cameras[name].spoken if name in reached else None
            for control in panel.controls:
                parameter = None if spoken is None else spoken.controls.get(control)
                if parameter is not None:
                    able.append((self._cameras[name], control, parameter))
        rate = panel.moves / max(1, len(able))
        commands = tuple(Command(camera, control, parameter, rate) for camera, control, parameter in able)
        known = {(camera.name, control): (camera, control, parameter) for camera, control, parameter in able}
        sticks = tuple(
            ResolvedJoystick(
                stick,
                tuple(
                    Command(*known[stick.camera, control], stick.rate)
                    for control in stick.controls
                    if (stick.camera, control) in known
                ),
            )
            for stick in panel.joysticks
        )
        return ResolvedPanel(f"panels[{index}]", panel, commands, sticks)

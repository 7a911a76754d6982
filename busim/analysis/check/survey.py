"""The plan as rules look at it: who stands where, who asks whom, which protocol and model, and the times.

Everything is looked up once, when the first rule wants it, since rules are many and a plan may be large. What a plan
names and is not there (a protocol, a model) is None here; the rules that say so look at the same place.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import NamedTuple

from busim.analysis.budget import Case, LineBudget, Pace, line_budget, usable_cases
from busim.analysis.check.characters import SAME_BAUD
from busim.analysis.check.feeds import Feed, feeds
from busim.analysis.check.wiring import Wiring, wirings
from busim.foundation.errors import UserError
from busim.installation import Installation, outline
from busim.physics.exchange import BEST, WORST
from busim.plan import CameraPlan, ConverterPlan, DriverPlan, LinePlan, MasterPlan, Plan, locate
from busim.plan.models import Model, Parameter
from busim.plan.models import find as find_model
from busim.protocols import BusProtocol, find, spoken


class OnLine(NamedTuple):
    """A camera on a line: `field` is its path in the plan."""

    field: str
    camera: CameraPlan
    metres: float


class Asker(NamedTuple):
    """A master that asks on a line, through a converter or (None) itself; the fields are their paths in the plan."""

    field: str
    master: MasterPlan
    converter_field: str
    converter: ConverterPlan | None

    def way(self, line: str) -> str:
        """The field in which the master says that it is on this line."""
        if self.converter is None:
            return f"{self.field}.on[{self.master.on.index(line)}]"
        return f"{self.field}.through[{self.master.through.index(self.converter.name)}]"


class Driving(NamedTuple):
    """A station as it drives the pair: `field` is its path in the plan."""

    field: str
    name: str
    driver: DriverPlan


@dataclass(frozen=True, slots=True)
class Wire:
    """A line with what stands on it, in order. `protocol`: None where it is not to be had, and `trouble` says why."""

    field: str
    line: LinePlan
    cameras: tuple[OnLine, ...]
    converters: tuple[tuple[str, ConverterPlan], ...]
    askers: tuple[Asker, ...]
    protocol: BusProtocol | None
    trouble: UserError | None

    @property
    def asking(self) -> list[Driving]:
        """The stations that requests come from: converters, and masters on the line."""
        boxes = [Driving(path, one.name, one.driver) for path, one in self.converters]
        here = (one for one in self.askers if one.converter is None)
        return boxes + [Driving(one.field, one.master.name, one.master.driver) for one in here]

    @property
    def places(self) -> list[Driving]:
        """Every station of the line that drives."""
        return self.asking + [Driving(one.field, one.camera.name, one.camera.driver) for one in self.cameras]

    def asked_by(self, master: MasterPlan) -> Iterator[OnLine]:
        """The cameras here that the master asks."""
        named = set(master.cameras)
        return (one for one in self.cameras if not named or one.camera.name in named)


@dataclass(frozen=True)
class Timed:
    """One master on one line with the times of its exchanges, as `busim.analysis.budget` computes them."""

    wire: Wire
    asker: Asker
    case: Case
    mean: Pace

    @cached_property
    def best(self) -> Pace:
        return self.mean.under(BEST)

    @cached_property
    def worst(self) -> Pace:
        return self.mean.under(WORST)

    @cached_property
    def budget(self) -> LineBudget:
        return line_budget(self.case, what_ifs=False)


@dataclass
class Survey:
    """A plan and what rules look up in it. For rules that judge afterwards: `unused` and `unknown`, the indices of
    silencings that silence nothing and of those that name no rule."""

    plan: Plan
    unused: tuple[int, ...] = ()
    unknown: tuple[int, ...] = ()
    _models: dict[str, tuple[Model | None, UserError | None]] = field(default_factory=dict)
    _parameters: dict[str, dict[str, Parameter]] = field(default_factory=dict)
    _protocols: dict[str, tuple[BusProtocol | None, UserError | None]] = field(default_factory=dict)
    _keys: dict[tuple[str, str], tuple[Mapping[str, int] | None, UserError | None]] = field(default_factory=dict)

    def row(self, path: str) -> str:
        """`line 12`: where in the file a field stands, for messages that name two places."""
        return f"line {locate(self.plan, path)[0]}"

    @cached_property
    def site(self) -> Installation:
        """The plan with its names looked up, as far as they have a meaning."""
        return outline(self.plan)

    # -- what is named ------------------------------------------------------------------------------------------

    def model(self, name: str) -> Model | None:
        """The camera model of this name, None where there is none that can be used."""
        return self._model(name)[0]

    def model_trouble(self, name: str) -> UserError | None:
        """Why there is no such model."""
        return self._model(name)[1]

    def _model(self, name: str) -> tuple[Model | None, UserError | None]:
        if name not in self._models:
            try:
                self._models[name] = find_model(name, Path(self.plan.path).parent, self.plan.files), None
            except UserError as error:
                self._models[name] = None, error
        return self._models[name]

    def parameter(self, camera: str, name: str) -> Parameter | None:
        """A parameter of a camera by its name or meaning, None where its model has none such or is not there."""
        model = self.cameras[camera][1].model
        if model not in self._parameters:
            known = self.model(model)
            named = {one.name: one for one in known.parameters} if known else {}
            self._parameters[model] = {word: named[of] for word, of in known.words.items()} if known else {}
        return self._parameters[model].get(name)

    def called(self, camera: str, word: str) -> str:
        """The name of the parameter of a camera that a word of the plan stands for; the word where there is none."""
        parameter = self.parameter(camera, word)
        return word if parameter is None else parameter.name

    def lacks(self, camera: str, name: str) -> bool:
        """Whether the camera's model is there and has no such parameter."""
        return self.parameter(camera, name) is None and self.model(self.cameras[camera][1].model) is not None

    def reads_only(self, camera: str, name: str) -> bool:
        """Whether the camera has this parameter and it cannot be set."""
        parameter = self.parameter(camera, name)
        return parameter is not None and not parameter.writable

    def _protocol(self, name: str) -> tuple[BusProtocol | None, UserError | None]:
        if name not in self._protocols:
            try:
                self._protocols[name] = find(name, Path(self.plan.path).parent, self.plan.files), None
            except UserError as error:
                self._protocols[name] = None, error
        return self._protocols[name]

    def keys(self, camera: CameraPlan, wire: Wire) -> tuple[Mapping[str, int] | None, UserError | None]:
        """Parameter to key of a camera under the line's protocol; None where it has none, and why, where both exist."""
        pair = camera.model, wire.line.protocol
        if pair not in self._keys:
            self._keys[pair] = self._spoken(camera.model, wire.protocol)
        return self._keys[pair]

    def _spoken(self, name: str, protocol: BusProtocol | None) -> tuple[Mapping[str, int] | None, UserError | None]:
        model = self.model(name)
        if model is None or protocol is None:
            return None, None
        try:
            return spoken(model, protocol).keys[protocol.name], None
        except UserError as error:
            return None, error

    # -- who stands where ---------------------------------------------------------------------------------------

    @cached_property
    def cameras(self) -> dict[str, tuple[str, CameraPlan]]:
        """Name to field path and camera."""
        return {camera.name: (f"cameras[{index}]", camera) for index, camera in enumerate(self.plan.cameras)}

    @cached_property
    def converters(self) -> dict[str, tuple[str, ConverterPlan]]:
        """Name to field path and converter."""
        return {one.name: (f"converters[{index}]", one) for index, one in enumerate(self.plan.converters)}

    @cached_property
    def masters(self) -> dict[str, tuple[str, MasterPlan]]:
        """Name to field path and master."""
        return {one.name: (f"masters[{index}]", one) for index, one in enumerate(self.plan.masters)}

    @cached_property
    def _rank(self) -> dict[str, int]:
        return {name: number for number, name in enumerate(self.masters)}

    @cached_property
    def wires(self) -> tuple[Wire, ...]:
        """The lines."""
        return tuple(self._wire(index, line) for index, line in enumerate(self.plan.lines))

    @cached_property
    def wirings(self) -> tuple[Wiring, ...]:
        """The cable of each line: what hangs where, terminators, bias."""
        return wirings(self)

    @cached_property
    def feeds(self) -> tuple[Feed, ...]:
        """The supplies, what each feeds over which cable, and the voltages that come out."""
        return feeds(self)

    @cached_property
    def wire_of(self) -> dict[str, Wire]:
        """Name of a camera to the line it is on."""
        return {one.camera.name: wire for wire in self.wires for one in wire.cameras}

    @cached_property
    def asked(self) -> dict[str, list[Asker]]:
        """Name of a camera to who asks it."""
        found: dict[str, list[Asker]] = {name: [] for name in self.cameras}
        for wire in self.wires:
            for asker in wire.askers:
                for one in wire.asked_by(asker.master):
                    found[one.camera.name].append(asker)
        return found

    @cached_property
    def full(self) -> tuple[tuple[str, ConverterPlan, int], ...]:
        """The converters that have no slot to spare beside their masters: field, converter, number of masters."""
        counts = Counter(asker.converter_field for wire in self.wires for asker in wire.askers)
        return tuple(
            (path, one, counts[path])
            for path, one in self.converters.values()
            if counts[path] and one.clients.most <= counts[path]
        )

    @cached_property
    def asked_by(self) -> dict[str, list[str]]:
        """Name of a master to the names of the cameras that it asks."""
        found: dict[str, list[str]] = {name: [] for name in self.masters}
        for name, askers in self.asked.items():
            for asker in askers:
                found[asker.master.name].append(name)
        return found

    def polls(self, camera: str, value: str) -> bool:
        """Whether some master polls this value of the camera."""
        wanted = self.called(camera, value)
        return any(
            wanted == self.called(camera, word)
            for asker in self.asked[camera]
            for group in asker.master.groups
            for word in group.values
        )

    def factory_id(self, camera: CameraPlan) -> int | None:
        """The bus ID with which a camera comes out of its box: as planned, or its model's; None: not known."""
        model = self.model(camera.model)
        return camera.factory_id if camera.factory_id is not None else model.bus.factory_id if model else None

    @cached_property
    def skews(self) -> list[tuple[str, CameraPlan, float]]:
        """Cameras at their line's baud: field, camera, and the share by which its clock and an asker's differ most."""
        found = []
        for wire in self.wires:
            asking = wire.asking
            rates = [_rate(wire, place.driver) for place in asking]
            for one in wire.cameras:
                own = _rate(wire, one.camera.driver)
                skew = max((abs(own / rate - 1) for rate in rates), default=0.0)
                baud = one.camera.driver.baud or wire.line.baud
                if all(abs(baud / (place.driver.baud or wire.line.baud) - 1) <= SAME_BAUD for place in asking):
                    found.append((one.field, one.camera, skew))
        return found

    @cached_property
    def _reaching(self) -> dict[tuple[str, str], list[str]]:
        """(on or through, name of a line or converter) to the masters that reach it so."""
        found: dict[tuple[str, str], list[str]] = {}
        for master in self.plan.masters:
            for way, names in (("on", master.on), ("through", master.through)):
                for name in names:
                    found.setdefault((way, name), []).append(master.name)
        return found

    def _wire(self, index: int, line: LinePlan) -> Wire:
        protocol, trouble = self._protocol(line.protocol)
        converters = tuple(self.converters[place.name] for place in line.order if place.kind == "converter")
        cameras = ((self.cameras[place.name], place.metres) for place in line.order if place.kind == "camera")
        askers = [Asker(*self.masters[name], "", None) for name in self._reaching.get(("on", line.name), ())]
        for path, converter in converters:
            names = self._reaching.get(("through", converter.name), ())
            askers += [Asker(*self.masters[name], path, converter) for name in names]
        askers.sort(key=lambda asker: self._rank[asker.master.name])
        return Wire(
            field=f"lines[{index}]",
            line=line,
            cameras=tuple(OnLine(*camera, metres) for camera, metres in cameras),
            converters=converters,
            askers=tuple(askers),
            protocol=protocol,
            trouble=trouble,
        )

    # -- times --------------------------------------------------------------------------------------------------

    @cached_property
    def timed(self) -> tuple[Timed, ...]:
        """Every master on every line whose protocol and models are there, and whose cameras have IDs that it knows."""
        by_line = {wire.line.name: wire for wire in self.wires}
        return tuple(self._timed(by_line[case.line], case) for case in usable_cases(self.site))

    @cached_property
    def timed_by(self) -> dict[str, list[Timed]]:
        """Name of a master to its lines."""
        found: dict[str, list[Timed]] = {name: [] for name in self.masters}
        for one in self.timed:
            found[one.case.master].append(one)
        return found

    def panel_field(self, master: str) -> str:
        """The field of the first panel of a master: of its cameras, where moves are what is too much or too late."""
        return next(
            f"panels[{number}].cameras[0]" for number, panel in enumerate(self.plan.panels) if panel.master == master
        )

    def _timed(self, wire: Wire, case: Case) -> Timed:
        asker = next(
            one
            for one in wire.askers
            if one.master.name == case.master and (one.converter.name if one.converter else "") == case.converter
        )
        return Timed(wire, asker, case, Pace(case))


def _rate(wire: Wire, driver: DriverPlan) -> float:
    """Bits per second as a station's clock makes them."""
    return float(driver.baud or wire.line.baud) * (1 + driver.clock_ppm / 1e6)

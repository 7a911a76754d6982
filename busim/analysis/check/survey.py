"""The plan as data for the rules: stations, masters and their cameras, protocols, models, and times.

Each value is computed once, when the first rule needs it, because there are many rules and plans can be large. A
protocol or model that does not exist is None here, and has a finding of the installation.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from busim.analysis.budget import Case, LineBudget, PollSchedule, line_summary, usable_cases
from busim.analysis.check.characters import SAME_BAUD
from busim.analysis.check.feeds import Feed, feeds
from busim.analysis.check.wiring import Wiring, wirings
from busim.foundation.errors import UserError
from busim.installation import Asker, Installation, ResolvedLine
from busim.physics.exchange import BEST, WORST
from busim.plan import CameraPlan, ConverterPlan, DriverPlan, MasterPlan, Plan, locate
from busim.plan.models import Model, Parameter
from busim.protocols import BusProtocol, spoken


@dataclass(frozen=True)
class Timed:
    """One master on one line with the times of its exchanges, as `busim.analysis.budget` computes them."""

    wire: ResolvedLine
    asker: Asker
    case: Case
    mean: PollSchedule

    @cached_property
    def best(self) -> PollSchedule:
        return self.mean.under(BEST)

    @cached_property
    def worst(self) -> PollSchedule:
        return self.mean.under(WORST)

    @cached_property
    def budget(self) -> LineBudget:
        return line_summary(self.mean, self.best, self.worst)


@dataclass
class Survey:
    """An installation as far as it can be resolved, with values that rules derive from it.

    For rules with `afterwards`: `unused` and `unknown`, the indices of silencing entries without effect and of those
    that name no rule.
    """

    site: Installation
    unused: tuple[int, ...] = ()
    unknown: tuple[int, ...] = ()
    _parameters: dict[str, dict[str, Parameter]] = field(default_factory=dict)
    _keys: dict[tuple[str, str], tuple[Mapping[str, int] | None, UserError | None]] = field(default_factory=dict)

    @property
    def plan(self) -> Plan:
        """The plan itself."""
        return self.site.plan

    def row(self, path: str) -> str:
        """`line 12`: the place of a field in the file, for messages that name two places."""
        return f"line {locate(self.plan, path)[0]}"

    # -- what is named ------------------------------------------------------------------------------------------

    @cached_property
    def _models(self) -> dict[str, Model | None]:
        known = {one.camera.model: one.known for one in self.site.cameras.values()}
        return {**known, **{one.spare.model: one.known for one in self.site.spares}}

    def model(self, name: str) -> Model | None:
        """The model of this name of a camera or spare in the plan, None if it is not usable."""
        return self._models.get(name)

    def parameter(self, camera: str, name: str) -> Parameter | None:
        """A parameter of a camera by its name or meaning, None if its model lacks it or is unknown."""
        model = self.cameras[camera][1].model
        if model not in self._parameters:
            known = self.model(model)
            named = {one.name: one for one in known.parameters} if known else {}
            self._parameters[model] = {word: named[of] for word, of in known.words.items()} if known else {}
        return self._parameters[model].get(name)

    def called(self, camera: str, word: str) -> str:
        """The name of the parameter of a camera that a word of the plan means; the word itself if unknown."""
        parameter = self.parameter(camera, word)
        return word if parameter is None else parameter.name

    def lacks(self, camera: str, name: str) -> bool:
        """Whether the model of the camera is known and lacks this parameter, or a key for it on this line."""
        spoken = self.site.cameras[camera].spoken
        return spoken is not None and not spoken.carries(name)

    def keys(self, camera: CameraPlan, wire: ResolvedLine) -> tuple[Mapping[str, int] | None, UserError | None]:
        """Parameter -> key of a camera under the protocol of any line, or None with the reason; both None if the model
        or the protocol is unknown."""
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
        """Name -> field path and camera."""
        return {name: (one.field, one.camera) for name, one in self.site.cameras.items()}

    @cached_property
    def converters(self) -> dict[str, tuple[str, ConverterPlan]]:
        """Name -> field path and converter."""
        return {name: (one.field, one.converter) for name, one in self.site.converters.items()}

    @cached_property
    def masters(self) -> dict[str, tuple[str, MasterPlan]]:
        """Name -> field path and master."""
        return {name: (one.field, one.master) for name, one in self.site.masters.items()}

    @property
    def wires(self) -> tuple[ResolvedLine, ...]:
        """The lines."""
        return self.site.lines

    @cached_property
    def wirings(self) -> tuple[Wiring, ...]:
        """The cable of each line: stations, terminators, bias."""
        return wirings(self.site)

    @cached_property
    def feeds(self) -> tuple[Feed, ...]:
        """The supplies with their loads, cables and voltages."""
        return feeds(self.site)

    @property
    def wire_of(self) -> Mapping[str, ResolvedLine]:
        """Name of a camera -> its line."""
        return self.site.line_of

    @cached_property
    def asked(self) -> dict[str, list[Asker]]:
        """Name of a camera -> its askers."""
        found: dict[str, list[Asker]] = {name: [] for name in self.cameras}
        for wire in self.wires:
            for asker in wire.askers:
                for one in asker.cameras:
                    found[one.name].append(asker)
        return found

    @cached_property
    def full(self) -> tuple[tuple[str, ConverterPlan, int], ...]:
        """The converters without a spare client slot: field, converter, number of masters."""
        counts = Counter(asker.converter_field for wire in self.wires for asker in wire.askers)
        return tuple(
            (path, one, counts[path])
            for path, one in self.converters.values()
            if counts[path] and one.clients.most <= counts[path]
        )

    @cached_property
    def asked_by(self) -> dict[str, list[str]]:
        """Name of a master -> names of the cameras that it asks."""
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

    @cached_property
    def strange(self) -> dict[str, set[str]]:
        """Name of a master -> the values that it polls and none of its cameras has: misspelt, mostly."""
        return {
            name: {
                word for group in master.groups for word in group.values
                if all(self.lacks(camera, word) for camera in self.asked_by[name])
            }
            for name, (_, master) in self.masters.items()
        }  # fmt: skip

    def asks_any(self, camera: str) -> bool:
        """Whether some master polls a value that the camera has, or that a misspelt word may mean."""
        return any(
            not self.lacks(camera, word) or word in self.strange[asker.master.name]
            for asker in self.asked[camera]
            for group in asker.master.groups
            for word in group.values
        )

    def factory_id(self, camera: CameraPlan) -> int | None:
        """The bus ID of a camera as delivered: from the plan or its model; None: unknown."""
        return self.site.cameras[camera.name].factory_id

    @cached_property
    def skews(self) -> list[tuple[str, CameraPlan, float]]:
        """Cameras with the baud of their line: field, camera, largest clock difference to an asker (share)."""
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

    # -- times --------------------------------------------------------------------------------------------------

    @cached_property
    def timed(self) -> tuple[Timed, ...]:
        """Every master on every line with a known protocol, known models and valid IDs."""
        by_line = {wire.line.name: wire for wire in self.wires}
        return tuple(self._timed(by_line[case.line], case) for case in usable_cases(self.site))

    @cached_property
    def timed_by(self) -> dict[str, list[Timed]]:
        """Name of a master -> its lines."""
        found: dict[str, list[Timed]] = {name: [] for name in self.masters}
        for one in self.timed:
            found[one.case.master].append(one)
        return found

    def panel_field(self, master: str) -> str:
        """The field for a finding about moves: the cameras of the first panel of a master."""
        return next(
            f"panels[{number}].cameras[0]" for number, panel in enumerate(self.plan.panels) if panel.master == master
        )

    def _timed(self, wire: ResolvedLine, case: Case) -> Timed:
        asker = next(
            one
            for one in wire.askers
            if one.master.name == case.master and (one.converter.name if one.converter else "") == case.converter
        )
        return Timed(wire, asker, case, PollSchedule(case))


def _rate(wire: ResolvedLine, driver: DriverPlan) -> float:
    """Bits per second by the clock of a station."""
    return float(driver.baud or wire.line.baud) * (1 + driver.clock_ppm / 1e6)

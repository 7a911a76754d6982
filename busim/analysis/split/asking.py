"""From a plan and wishes to a problem in numbers.

The budget computes each camera's share of a line, for a line with all its cameras: its polls and the moves to it, each
at its wanted rate, over the usable share of time. Such shares add up. Cable counts at the longest that the line may
have, so the sum is conservative by the propagation (microseconds per exchange).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from busim.analysis.budget import PollSchedule, usable_cases
from busim.analysis.check import Survey
from busim.analysis.split.candidates import Candidate, Field, carries, field_of
from busim.analysis.split.laying import Layer, holds
from busim.analysis.split.problem import Group, Kind, Problem
from busim.analysis.split.routes import Array
from busim.analysis.split.ways import Ways
from busim.analysis.split.wishes import TARGET, Wishes
from busim.foundation.errors import UserError
from busim.installation import outline, resolve
from busim.physics.electric import MOST_UNIT_LOADS, WIDELY_QUOTED, longest
from busim.plan import CameraPlan, MasterPlan, Place, Plan
from busim.plan.models import Model

WHAT = ("load", "unit loads", "bus IDs", "power at rest", "power at its most", "power at start")
_STATES = ("idle", "peak", "start_up")


@dataclass(frozen=True)
class Asked:
    """`plan`: with a wanted rate for every group; `cameras`: those to be placed; `refused`: [kind][camera] why it
    cannot be on such a line in any company, "" if it can. `targets`: groups that were given a rate.
    """

    plan: Plan
    survey: Survey
    field: Field
    cameras: tuple[CameraPlan, ...]
    problem: Problem
    refused: tuple[tuple[str, ...], ...]
    layer: Layer
    ways: Ways
    targets: dict[str, int]


def asked(plan: Plan, wishes: Wishes) -> Asked:
    """Raises Findings as `resolve` does, and UserError for wishes with unknown names, and if no line takes part."""
    plan, targets = _with_targets(plan, wishes)
    survey = Survey(resolve(plan))
    field = field_of(plan, survey, wishes)
    if not field.candidates:
        raise UserError(
            "no line of this plan can be split", file=plan.path or None,
            found="; ".join(f"{name!r}: {why}" for name, why in field.left_alone.items()) or "no line",
            expected="lines with one converter each", mend="plan a converter for each line",
        )  # fmt: skip
    ours = {candidate.line.name for candidate in field.candidates}
    on = {at.name for line in plan.lines if line.name in ours for at in line.order if at.kind == "camera"}
    cameras = tuple(camera for camera in plan.cameras if camera.name in on)
    if not cameras:
        raise UserError(
            "there is no camera to be placed", file=plan.path or None, found="lines without cameras",
            expected="cameras on lines with one converter each", mend="put every camera on some line first",
        )  # fmt: skip
    ways = Ways(plan, wishes)
    fed = frozenset(
        name for feed in survey.feeds if carries(feed, survey) for name in feed.supply.feeds if name in survey.cameras
    )
    layer = Layer(survey.site, ways, fed)
    asker = _Asker(plan, survey, field, cameras, wishes, layer, ways)
    return Asked(plan, survey, field, cameras, asker.problem(), asker.refused, layer, ways, targets)


def _with_targets(plan: Plan, wishes: Wishes) -> tuple[Plan, dict[str, int]]:
    """A rate for every group that has none, and for those that the wishes name."""
    known = {group.name for master in plan.masters for group in master.groups}
    for name in wishes.targets:
        if name not in known:
            raise UserError(
                "there is no poll group of this name", found=repr(name),
                expected=", ".join(f"`{one}`" for one in sorted(known)), mend="name a group of a master",
            )  # fmt: skip
    given = {}

    def every(name: str, planned: int) -> int:
        wanted = wishes.targets.get(name, planned or TARGET)
        if wanted != planned:
            given[name] = wanted
        return wanted

    masters = tuple(
        replace(one, groups=tuple(replace(group, every=every(group.name, group.every)) for group in one.groups))
        for one in plan.masters
    )
    return replace(plan, masters=masters), given


class _Asker:
    def __init__(
        self, plan: Plan, survey: Survey, field: Field, cameras: tuple[CameraPlan, ...], wishes: Wishes,
        layer: Layer, ways: Ways,
    ) -> None:  # fmt: skip
        self._plan, self._survey, self._field, self._cameras = plan, survey, field, cameras
        self._wishes, self._layer, self._ways = wishes, layer, ways
        self._loads: dict[object, Array] = {}
        self._asks = {name: frozenset(asker.master.name for asker in askers) for name, askers in survey.asked.items()}
        self._watts = {load.name: load for feed in survey.feeds for load in feed.loads}
        self.refused: tuple[tuple[str, ...], ...] = tuple(
            tuple(self._why_not(candidate, camera) for camera in cameras) for candidate in field.candidates
        )

    def problem(self) -> Problem:
        candidates, cameras = self._field.candidates, self._cameras
        spots = [("camera", camera.name) for camera in cameras]
        for candidate in candidates:
            if candidate.new:
                self._ways.add(candidate.spot, candidate.converter.place)
        boxes = [("converter", candidate.spot) for candidate in candidates]
        self._problem = Problem(
            tuple(camera.name for camera in cameras),
            tuple(self._kind(number, candidate) for number, candidate in enumerate(candidates)),
            WHAT,
            np.stack([self._needs(number, candidate) for number, candidate in enumerate(candidates)]),
            self._labels(),
            self._ways.between(spots, spots),
            self._ways.between(boxes, spots),
            tuple(self._hanging(candidate) for candidate in candidates),
        )
        return self._problem

    def _labels(self) -> tuple[int, ...]:
        if self._wishes.renumber:
            return tuple(range(len(self._cameras)))
        return tuple(camera.bus_id for camera in self._cameras)

    def _hanging(self, candidate: Candidate) -> Group:
        here = set() if candidate.new else {at.name for at in candidate.line.order if at.kind == "camera"}
        return frozenset(at for at, camera in enumerate(self._cameras) if camera.name in here)

    def _kind(self, number: int, candidate: Candidate) -> Kind:
        gauge = candidate.line.cable.gauge
        reach = longest(float(candidate.line.baud), WIDELY_QUOTED, gauge)

        def judge(group: Group) -> bool:
            route, metres = self._problem.route(number, group)
            names = [None if at == self._problem.count else self._problem.cameras[at] for at in route]
            laid = self._layer.laid(candidate, names, metres)
            return laid.feed is None or holds(laid.feed)

        judged = judge if candidate.supply is not None else None
        return Kind(candidate.converter.name, reach, candidate.count, candidate.converter.terminator, judged)

    # -- shares ------------------------------------------------------------------------------------------------

    def _needs(self, number: int, candidate: Candidate) -> Array:
        """[camera, what] as shares of what such a line has; inf if the camera cannot be there."""
        loads = self._load(number, candidate) / max(1e-9, 1 - self._wishes.headroom)
        units = MOST_UNIT_LOADS - candidate.converter.unit_load
        protocol = next(wire.protocol for wire in self._survey.wires if wire.line.name == candidate.line.name)
        ids = protocol.addresses if protocol else (1, 1)
        rows = []
        for camera, load, refused in zip(self._cameras, loads, self.refused[number], strict=True):
            model = self._survey.model(camera.model)
            unit_load = camera.unit_load or (model.bus.unit_load if model else 1.0)
            shares = [load, unit_load / max(units, 1e-9), 1 / (ids[1] - ids[0] + 1), *self._power(candidate, camera)]
            rows.append([np.inf] * len(WHAT) if refused else shares)
        return np.array(rows).reshape(len(self._cameras), len(WHAT))

    def _power(self, candidate: Candidate, camera: CameraPlan) -> list[float]:
        supply, load = candidate.supply, self._watts.get(camera.name)
        if supply is None or supply.limit is None or load is None or camera.name not in self._layer.fed:
            return [0.0] * len(_STATES)
        own = self._watts.get(candidate.converter.name) if candidate.converter.supply == supply.name else None
        room = [supply.limit - (own.at(state) if own else 0.0) for state in _STATES]
        return [load.at(state) / max(watts, 1e-9) for state, watts in zip(_STATES, room, strict=True)]

    def _load(self, number: int, candidate: Candidate) -> Array:
        """The share of the line's time that each camera takes, all masters together."""
        line, box = candidate.line, candidate.converter
        same = (
            line.baud, line.format, line.protocol, line.biased, line.bit_error_rate, line.chatter, line.velocity,
            box.packing_idle, box.packing_length, box.packing_delimiter, box.latency, box.driver, box.clients.sharing,
            frozenset(self._askers(candidate)), self.refused[number],
        )  # fmt: skip
        if same not in self._loads:
            self._loads[same] = self._computed(number, candidate)
        return self._loads[same]

    def _computed(self, number: int, candidate: Candidate) -> Array:
        shares = {camera.name: 0.0 for camera in self._cameras}
        able = [camera for camera, why in zip(self._cameras, self.refused[number], strict=True) if not why]
        far = longest(float(candidate.line.baud), WIDELY_QUOTED)
        order = (
            Place("converter", candidate.converter.name, 0.0),
            *(Place("camera", camera.name, far) for camera in able),
        )
        plan = replace(
            self._plan, lines=(replace(candidate.line, order=order),),
            cameras=tuple(replace(camera, present=True) for camera in able), converters=(candidate.converter,),
        )  # fmt: skip
        for case in usable_cases(outline(plan)) if able else ():
            pace = PollSchedule(case, exact=False)
            for at, poll in enumerate(case.polls):
                shares[case.units[poll.unit].name] += pace.poll_cost(at) / poll.every
            sent = sum(move.rate / 1e9 * pace.move_time(at) for at, move in enumerate(case.moves))
            # repeats after noise, spread over all moves
            more = pace.moves_load / sent if sent else 1.0
            for at, move in enumerate(case.moves):
                shares[case.units[move.unit].name] += move.rate / 1e9 * pace.move_time(at) * more
        return np.array([shares[camera.name] for camera in self._cameras])

    # -- who can be where at all ---------------------------------------------------------------------------------

    def _askers(self, candidate: Candidate) -> list[MasterPlan]:
        return [one for one in self._plan.masters if candidate.like in one.through]

    def _why_not(self, candidate: Candidate, camera: CameraPlan) -> str:
        line = candidate.line
        asks = {one.name for one in self._askers(candidate) if not one.cameras or camera.name in one.cameras}
        if asks != self._asks[camera.name]:
            return "other masters would poll it there"
        wire = next(wire for wire in self._survey.wires if wire.line.name == line.name)
        keys, trouble = self._survey.keys(camera, wire)
        if keys is None or wire.protocol is None:
            return trouble.what if trouble else f"its model {camera.model!r} or protocol {line.protocol!r} is unknown"
        low, high = wire.protocol.addresses
        if not (low <= camera.bus_id <= high or self._wishes.renumber):
            return f"its ID {camera.bus_id} is none that {line.protocol} has ({low} to {high}); it may be renumbered"
        if camera.name in self._layer.fed and candidate.supply is None:
            return "no supply is injected on that line"
        return self._setting(candidate, camera, self._survey.model(camera.model))

    def _setting(self, candidate: Candidate, camera: CameraPlan, model: Model | None) -> str:
        line, own = candidate.line, camera.driver
        if own.baud not in (None, line.baud):
            return f"it is set to {float(own.baud or 0):g} Bd, and that line has {float(line.baud):g} Bd"
        if own.format not in (None, line.format):
            return f"it is set to {own.format}, and that line has {line.format}"
        if any(at.name == camera.name for at in line.order):
            return ""  # it has this setting already, whatever its model says
        if model and model.bus.bauds and line.baud not in model.bus.bauds:
            return f"it cannot be set to {float(line.baud):g} Bd"
        if model and model.bus.formats and line.format not in model.bus.formats:
            return f"it cannot be set to {line.format}"
        return ""

"""What a plan names, found: protocols and camera models, and what it asks of them. Everything missing, in one go.

The plan reader knows neither protocols nor models, so only here can be seen whether a name means anything. Nothing is
built before all of this is known, so that somebody who mends a plan sees every mistake at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from busim.foundation.diagnostics import Finding, Findings
from busim.foundation.errors import UserError
from busim.foundation.yaml_source import nearest
from busim.plan import CameraPlan, LinePlan, MasterPlan, PanelPlan, Plan, locate
from busim.plan.models import Model
from busim.plan.models import find as find_model
from busim.protocols import BusProtocol, find, has_id, spoken

_MOST = 500  # findings; listing more would help nobody


@dataclass(frozen=True, slots=True)
class Named:
    """`protocols` by name of the line, `models` by name of the camera, with their keys under its line's protocol."""

    protocols: dict[str, BusProtocol]
    models: dict[str, Model]


def look_up(plan: Plan) -> Named:
    """What the plan names. Raises Findings: every name without a meaning, each with its place."""
    search = _Search(plan)
    found = sorted(search.findings(), key=lambda finding: finding.order)
    if found:
        raise Findings(found[:_MOST])
    return Named(search.protocols, search.models)


class _Search:
    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._line_of = {
            (place.kind, place.name): line for line in plan.lines for place in line.order if place.kind != "master"
        }
        self._asked = {master.name: tuple(self._cameras(master)) for master in plan.masters}
        self.protocols: dict[str, BusProtocol] = {}
        self.models: dict[str, Model] = {}
        self._read: dict[str, Model] = {}
        self._broken: set[str] = set()

    def _cameras(self, master: MasterPlan) -> Iterator[str]:
        """The names of the cameras that a master asks."""
        lines = {*master.on, *(self._line_of["converter", name].name for name in master.through)}
        for camera in self._plan.cameras:
            reached = self._line_of["camera", camera.name].name in lines
            if reached and (not master.cameras or camera.name in master.cameras):
                yield camera.name

    def findings(self) -> Iterator[Finding]:
        for index, line in enumerate(self._plan.lines):
            yield from self._line(f"lines[{index}]", line)
        for index, camera in enumerate(self._plan.cameras):
            yield from self._camera(f"cameras[{index}]", camera)
        for index, master in enumerate(self._plan.masters):
            yield from self._master(f"masters[{index}]", master)
        for index, panel in enumerate(self._plan.panels):
            yield from self._panel(f"panels[{index}]", panel)

    def _at(self, field: str, code: str, error: UserError) -> Finding:
        line, column = locate(self._plan, field)
        finding = Finding.of(error, code)
        return replace(finding, file=self._plan.path or None, line=line, column=column, field=field)

    def _line(self, field: str, line: LinePlan) -> Iterator[Finding]:
        try:
            self.protocols[line.name] = find(line.protocol, Path(self._plan.path).parent, self._plan.files)
        except Findings as error:  # in the protocol's own file, each with its place there
            yield from error.findings
        except UserError as error:
            yield self._at(f"{field}.protocol", "no-such-protocol", error)

    def _camera(self, field: str, camera: CameraPlan) -> Iterator[Finding]:
        protocol = self.protocols.get(self._line_of["camera", camera.name].name)
        if protocol is not None:
            try:
                has_id(protocol, camera.name, camera.id)
            except UserError as error:
                yield self._at(f"{field}.id", "no-such-id", error)
        if camera.model in self._broken:
            return
        try:
            model = self._model(camera.model)
        except Findings as error:  # in the model's own file, each with its place there, and once
            self._broken.add(camera.model)
            yield from error.findings
            return
        except UserError as error:
            yield self._at(f"{field}.model", "no-such-model", error)
            return
        try:
            self.models[camera.name] = model if protocol is None else spoken(model, protocol)
        except UserError as error:
            self.models[camera.name] = model
            yield self._at(f"{field}.model", "not-its-protocol", error)

    def _model(self, name: str) -> Model:
        model = self._read.get(name)
        if model is None:
            model = self._read[name] = find_model(name, Path(self._plan.path).parent, self._plan.files)
        return model

    def _master(self, field: str, master: MasterPlan) -> Iterator[Finding]:
        """A value that only some of the cameras have is read from those; one that none has is a mistake."""
        cameras = self._asked[master.name]
        if not cameras or any(name not in self.models for name in cameras):
            return
        known = [value for name in cameras for value in self._carried(name)]
        for number, group in enumerate(master.groups):
            for place, value in enumerate(group.values):
                if value not in known:
                    problem = _unknown(f"no camera of master {master.name!r} has this value", value, known)
                    yield self._at(f"{field}.groups[{number}].values[{place}]", "no-such-value", problem)

    def _carried(self, camera: str) -> list[str]:
        """The words for parameters of a camera that the protocol of its line has keys for."""
        model = self.models[camera]
        protocol = self.protocols.get(self._line_of["camera", camera].name)
        keys = None if protocol is None else model.keys.get(protocol.name)
        return [word for word, name in model.words.items() if keys is None or name in keys]

    def _controls(self, camera: str) -> list[str]:
        model = self.models[camera]
        words, writable = model.words, {one.name for one in model.parameters if one.writable}
        return [word for word in self._carried(camera) if words[word] in writable]

    def _panel(self, field: str, panel: PanelPlan) -> Iterator[Finding]:
        for place, name in enumerate(panel.cameras):
            if name not in self._asked[panel.master]:
                problem = UserError(
                    f"panel {panel.name!r} moves camera {name!r}, which master {panel.master!r} does not reach",
                    expected="a camera on a line of this master",
                    mend="drop the camera here, or add it to the master",
                )
                yield self._at(f"{field}.cameras[{place}]", "out-of-reach", problem)
        controls = {name: self._controls(name) for name in panel.cameras if name in self.models}
        for place, control in enumerate(panel.controls):
            without = [name for name, known in controls.items() if control not in known]
            if without:
                names = ", ".join(repr(name) for name in without)
                word = "camera" if len(without) == 1 else "cameras"
                problem = _unknown(f"no control of {word} {names}", control, controls[without[0]])
                if control in self.models[without[0]].words:
                    problem.mend = "this can only be read: name one of these"
                yield self._at(f"{field}.controls[{place}]", "no-such-control", problem)


def _unknown(what: str, name: str, known: Iterable[str]) -> UserError:
    known = tuple(dict.fromkeys(known))
    meant = nearest(name, known)
    mend = f"did you mean `{meant}`?" if meant else "name one of these"
    return UserError(what, found=repr(name[:60]), expected="one of " + ", ".join(known), mend=mend)

"""Names in a plan that cannot be resolved: protocols, models, bus IDs, polled values, controls, figures, steps.

The code of each finding about stations is the identifier of the rule that explains it (`busim explain unknown-model`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from busim.foundation.diagnostics import Finding, Findings
from busim.foundation.errors import UserError
from busim.foundation.yaml_source import suggestion
from busim.installation.spoken import Spoken
from busim.installation.stations import ResolvedCamera
from busim.plan import Plan, folder, locate
from busim.plan.models import Model
from busim.plan.models import find as find_model
from busim.protocols import BusProtocol, find, has_id, spoken

_LISTED = 4  # most cameras named in one sentence


@dataclass
class Named:
    """Protocols and models by their names in the plan, each looked up once. None if not found: `troubles` has the
    reason, by kind and name."""

    plan: Plan
    troubles: dict[tuple[str, ...], UserError] = field(default_factory=dict)
    _protocols: dict[str, BusProtocol | None] = field(default_factory=dict)
    _models: dict[str, Model | None] = field(default_factory=dict)
    _spoken: dict[tuple[str, str], Spoken | None] = field(default_factory=dict)

    def protocol(self, name: str) -> BusProtocol | None:
        """The protocol of this name."""
        if name not in self._protocols:
            self._protocols[name] = None
            try:
                self._protocols[name] = find(name, folder(self.plan), self.plan.files)
            except UserError as error:
                self.troubles["protocol", name] = error
        return self._protocols[name]

    def model(self, name: str) -> Model | None:
        """The camera model of this name."""
        if name not in self._models:
            self._models[name] = None
            try:
                self._models[name] = find_model(name, folder(self.plan), self.plan.files)
            except UserError as error:
                self.troubles["model", name] = error
        return self._models[name]

    def spoken(self, name: str, protocol: str) -> Spoken | None:
        """The model under the protocol."""
        if (name, protocol) not in self._spoken:
            self._spoken[name, protocol] = None
            model, known = self.model(name), self.protocol(protocol)
            if model is not None and known is not None:
                try:
                    self._spoken[name, protocol] = Spoken(spoken(model, known), known)
                except UserError as error:
                    self.troubles["spoken", name, protocol] = error
        return self._spoken[name, protocol]


def unresolved(
    named: Named, cameras: Mapping[str, ResolvedCamera], asked: Mapping[str, list[ResolvedCamera]]
) -> Iterator[Finding]:
    """A finding for each name that cannot be resolved. `cameras` by name; `asked`: master -> cameras that it asks."""
    return _Search(named, cameras, asked).findings()


class _Search:
    def __init__(
        self, named: Named, cameras: Mapping[str, ResolvedCamera], asked: Mapping[str, list[ResolvedCamera]]
    ) -> None:
        self._plan, self._named = named.plan, named
        self._cameras, self._asked = cameras, asked
        self._told: set[int] = set()  # errors of files, each reported once

    def findings(self) -> Iterator[Finding]:
        for index, line in enumerate(self._plan.lines):
            trouble = self._named.troubles.get(("protocol", line.protocol))
            if trouble is not None:
                yield from self._of_file(f"lines[{index}].protocol", "unknown-protocol", trouble)
        protocols = {line.name: line.protocol for line in self._plan.lines}
        for camera in self._cameras.values():
            yield from self._camera(camera, protocols[camera.line])
        for index, spare in enumerate(self._plan.spares):
            trouble = self._named.troubles.get(("model", spare.model))
            if trouble is not None:
                yield from self._of_file(f"spares[{index}].model", "unknown-model", trouble)
        for index, master in enumerate(self._plan.masters):
            for number, group in enumerate(master.groups):
                field = f"masters[{index}].groups[{number}]"
                yield from self._polled(field, master.name, group.values)
        for index in range(len(self._plan.panels)):
            yield from self._panel(index)
        if self._plan.expect:
            from busim.recording.expectations import wrong  # figures take a while to load, and so does the next one

            yield from wrong(self._plan)
        if "rehearsal" in self._plan.source:
            from busim.installation.rehearsal import read_block

            yield from read_block(self._plan)[1]

    def _of_file(self, field: str, code: str, error: UserError) -> Iterator[Finding]:
        """A mistake in the plan at its place; mistakes in a file beside the plan at their places in it, once."""
        if not isinstance(error, Findings):
            yield self._at(field, code, error)
        elif error.line is None:  # the file itself cannot be read
            what = f"{error.findings[0].what}: {error.file}"
            expected = "the name of a file beside the plan"
            yield self._at(field, code, UserError(what, found=error.found, expected=expected, mend=error.mend))
        elif id(error) not in self._told:
            self._told.add(id(error))
            yield from error.findings

    def _at(self, field: str, code: str, error: UserError) -> Finding:
        line, column = locate(self._plan, field)
        finding = Finding.of(error, code)
        return replace(finding, file=self._plan.path or None, line=line, column=column, field=field)

    def _camera(self, one: ResolvedCamera, protocol: str) -> Iterator[Finding]:
        known = self._named.protocol(protocol)
        if known is not None:
            try:
                has_id(known, one.name, one.camera.bus_id)
            except UserError as error:
                code = "broadcast-id" if one.camera.bus_id == known.broadcast else "id-out-of-range"
                yield self._at(f"{one.field}.bus_id", code, error)
        trouble = self._named.troubles.get(("model", one.camera.model))
        if trouble is not None:
            yield from self._of_file(f"{one.field}.model", "unknown-model", trouble)
        trouble = self._named.troubles.get(("spoken", one.camera.model, protocol))
        if trouble is not None:
            yield self._at(f"{one.field}.model", "model-lacks-protocol", trouble)

    def _polled(self, field: str, master: str, values: tuple[str, ...]) -> Iterator[Finding]:
        """A value of only some cameras is polled from those; a value of no camera is a mistake."""
        cameras = [one.spoken for one in self._asked[master]]
        if not cameras or any(one is None for one in cameras):
            return
        known = dict.fromkeys(word for one in dict.fromkeys(cameras) if one is not None for word in one.carried)
        for place, value in enumerate(values):
            if value not in known:
                problem = _unknown(f"no camera of master {master!r} has this value", value, known)
                yield self._at(f"{field}.values[{place}]", "polled-value-nobody-has", problem)

    def _panel(self, index: int) -> Iterator[Finding]:
        panel = self._plan.panels[index]
        reached = {one.name for one in self._asked[panel.master]}
        for place, name in enumerate(panel.cameras):
            if name not in reached:
                problem = UserError(
                    f"panel {panel.name!r} moves camera {name!r}, which master {panel.master!r} does not reach",
                    expected="a camera on a line of this master",
                    mend="delete the camera here, or add it to the master",
                )
                yield self._at(f"panels[{index}].cameras[{place}]", "out-of-reach", problem)
        known = ((name, self._cameras.get(name)) for name in panel.cameras)
        cameras = {name: one.spoken for name, one in known if one is not None and one.spoken is not None}
        for place, control in enumerate(panel.controls):
            without = {name: one for name, one in cameras.items() if control not in one.controls}
            fixed = any(one.carries(control) for one in without.values())
            if without and (fixed or len(without) == len(cameras)):  # else it moves those that have it
                yield self._at(f"panels[{index}].controls[{place}]", *_no_control(control, without))
        yield from self._joysticks(index, cameras)

    def _joysticks(self, index: int, cameras: Mapping[str, Spoken]) -> Iterator[Finding]:
        """A joystick needs each of its controls in its camera."""
        for number, stick in enumerate(self._plan.panels[index].joysticks):
            field, spoken = f"panels[{index}].joysticks[{number}]", cameras.get(stick.camera)
            for place, control in enumerate(stick.controls):
                if spoken is not None and control not in spoken.controls:
                    yield self._at(f"{field}.controls[{place}]", *_no_control(control, {stick.camera: spoken}))


def _no_control(control: str, without: Mapping[str, Spoken]) -> tuple[str, UserError]:
    """The reason why a control cannot be moved in these cameras: they lack it, or it is read-only."""
    lacking = {name: one for name, one in without.items() if not one.carries(control)}
    names = list(lacking or without)
    listed = ", ".join(repr(name) for name in names[:_LISTED])
    listed += f" and {len(names) - _LISTED} more" if len(names) > _LISTED else ""
    problem = _unknown(
        f"no control of camera{'s' if len(names) > 1 else ''} {listed}", control, without[names[0]].controls
    )
    if lacking:
        return "control-camera-lacks", problem
    problem.mend = "this value is read-only: name one of these"
    return "control-cannot-be-set", problem


def _unknown(what: str, name: str, known: Iterable[str]) -> UserError:
    known = tuple(dict.fromkeys(known))
    mend = suggestion(name, known, "name one of these")
    return UserError(what, found=repr(name[:60]), expected="one of " + ", ".join(known), mend=mend)

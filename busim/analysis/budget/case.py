"""A case: one master on one line, as plain numbers, and what of it can be changed.

The plan is read here and nowhere else in the budget. A case is small and frozen, so that "what if the baud were
twice as high" is a copy with one field replaced.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from busim.foundation.diagnostics import Findings
from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat, Spread
from busim.physics.electric import propagation_ns
from busim.physics.exchange import runs
from busim.plan import CameraPlan, ConverterPlan, DriverPlan, LinePlan, MasterPlan, Plan, locate
from busim.plan.models import Model
from busim.plan.models import find as find_model
from busim.protocols import READ, WRITE, BusProtocol, Reply, Request, find, has_id, spoken

_CLOCKS = Fraction(2, 100)  # by which two stations may differ and still talk: MODBUS over Serial Line V1.02, 3.2


class Unit(NamedTuple):
    """A camera. `distance`: propagation from the asker, ns; `trouble`: why it never answers, "" where it does.

    `writes`: the runs of neighbouring registers that can be written, each by its length.
    """

    name: str
    id: int
    turnaround: Spread
    distance: float
    lead: int
    hold: int
    baud: Fraction
    ppm: float
    trouble: str
    writes: tuple[int, ...]


class Poll(NamedTuple):
    """One read that comes again and again: `unit` counts in `Case.units`; lengths in characters; `every` ns.

    `escapes`: how many characters escaping and longer numbers add at most.

    `work` is its name in trace and figures: that of its group, with the first key behind it in further runs of
    registers. `hole`: how many registers lie between the run of the group before and this one and could be read as
    well, 0 where there is no such run.
    """

    unit: int
    group: str
    work: str
    first: str
    size: int
    hole: int
    request: int
    reply: int
    every: int
    escapes: int = 0


class Move(NamedTuple):
    """What operators do to one control: `rate` moves per second, all panels together; lengths in characters."""

    unit: int
    control: str
    rate: float
    request: int
    reply: int
    group: str  # in which its value is polled, "" where it is not
    escapes: int = 0


class Case(NamedTuple):
    """One master on one line. Times in ns; `converter` is "" for a master on the line itself.

    `masters`: everybody who asks on this line; `clash`: bus IDs that more than one camera there answers to.
    `faulty`: what makes the asker's own bytes unusable, or "". `arbitrated`: the converter serves one request after the
    other, and all masters of the line ask through it. `at_once`: the converter sends a reply on when it is whole.
    """

    line: str
    master: str
    protocol: BusProtocol
    baud: Fraction
    format: CharFormat
    ppm: float
    lead: int
    hold: int
    converter: str
    packing_idle: int
    packing_length: int
    latency: Spread
    gap: int
    listen: int
    time_out: int | None
    retries: int
    offline_after: int
    bit_error_rate: float
    chatter: float
    units: tuple[Unit, ...]
    polls: tuple[Poll, ...]
    moves: tuple[Move, ...]
    masters: tuple[str, ...]
    clash: tuple[int, ...]
    faulty: str
    arbitrated: bool = False
    at_once: bool = False


class _Spoken:
    """A camera model as a protocol speaks of it. `keys`: of its parameters; `writes`: as `Unit` has them."""

    def __init__(self, model: Model, protocol: BusProtocol) -> None:
        self._model, self._protocol = model, protocol
        self.keys = keys = model.keys[protocol.name]
        writable = [keys[one.name] for one in model.parameters if one.writable and one.name in keys]
        self.writes = tuple([size for _, size in runs(writable, protocol.most_values)])
        self._read: dict[str, list[_Run]] = {}  # by master

    def called(self, word: str) -> str:
        """The name of the parameter that a word of the plan stands for."""
        return word if word in self.keys else self._model.called(word)

    def read(self, master: MasterPlan) -> list[_Run]:
        """What a master reads of every camera of the model."""
        if master.name not in self._read:
            self._read[master.name] = list(self._runs(master))
        return self._read[master.name]

    def _runs(self, master: MasterPlan) -> Iterator[_Run]:
        keys, names = self.keys, {key: name for name, key in self.keys.items()}
        for group in master.groups:
            end = 0
            wanted = [keys[name] for name in map(self.called, group.values) if name in keys]
            for place, (first, size) in enumerate(runs(wanted, self._protocol.most_values)):
                between = range(end, first) if place else range(0)
                hole = len(between) if all(key in names for key in between) else 0
                end = first + size
                work = f"{group.name} from {first}" if place else group.name
                yield group.name, work, names[first], first, size, hole, group.every


_Run = tuple[str, str, str, int, int, int, int]  # group, work, first value and its key, size, hole, every


def cases(plan: Plan) -> list[Case]:
    """Every master on every line that it asks on, line by line. Raises UserError for names that there are not."""
    return list(_Reader(plan).cases())


class _Reader:
    def __init__(self, plan: Plan) -> None:
        self._plan, self._folder = plan, os.path.dirname(plan.path)
        self._cameras = {camera.name: (index, camera) for index, camera in enumerate(plan.cameras)}
        self._converters = {converter.name: converter for converter in plan.converters}
        self._models: dict[tuple[str, BusProtocol], _Spoken] = {}
        self._protocols: dict[str, BusProtocol] = {}

    def cases(self) -> Iterator[Case]:
        for index, line in enumerate(self._plan.lines):
            try:
                protocol = self._protocol(line.protocol)
            except Findings:
                raise  # mistakes in the protocol's own file, each with its place there
            except UserError as error:
                raise self._at(error, f"lines[{index}].protocol") from None
            askers = list(self._askers(line))
            boxes = {None if box is None else box.name for _, box in askers}
            for master, converter in askers:
                case = self._case(line, protocol, master, converter, tuple(master.name for master, _ in askers))
                ordered = converter is not None and converter.clients.sharing == "arbitrated" and len(boxes) == 1
                ended = converter is not None and self._ends(case, converter.packing_delimiter)
                yield case._replace(arbitrated=ordered, at_once=ordered or ended)

    def _ends(self, case: Case, delimiter: bytes) -> bool:
        """Whether replies end with what the converter packs by."""
        if not delimiter or not case.units:
            return False
        reply = Reply(case.units[0].id, READ, 0, (0,))
        return case.protocol.encode_reply(reply).endswith(delimiter)

    def _protocol(self, name: str) -> BusProtocol:
        if name not in self._protocols:
            self._protocols[name] = find(name, self._folder, self._plan.files)
        return self._protocols[name]

    def _askers(self, line: LinePlan) -> Iterator[tuple[MasterPlan, ConverterPlan | None]]:
        here = {place.name for place in line.order if place.kind == "converter"}
        for master in self._plan.masters:
            if line.name in master.on:
                yield master, None
            for name in master.through:
                if name in here:
                    yield master, self._converters[name]

    def _case(
        self, line: LinePlan, protocol: BusProtocol, master: MasterPlan, converter: ConverterPlan | None,
        masters: tuple[str, ...],
    ) -> Case:  # fmt: skip
        driver = master.driver if converter is None else converter.driver
        baud, format = driver.baud or line.baud, driver.format or line.format
        for place in line.order:
            if place.kind == "camera":
                self._has_id(*self._cameras[place.name], protocol)
        kind, name = ("master", master.name) if converter is None else ("converter", converter.name)
        metres = next(place.metres for place in line.order if (place.kind, place.name) == (kind, name))
        stands = [(place.metres, self._cameras[place.name][1]) for place in line.order if place.kind == "camera"]
        answers = [camera.id for _, camera in stands if camera.present]
        asked = [
            (at, camera, self._spoken(camera, protocol))
            for at, camera in stands
            if not master.cameras or camera.name in master.cameras
        ]
        units = tuple(
            Unit(
                camera.name,
                camera.id,
                camera.turnaround,
                propagation_ns(abs(at - metres), line.velocity),
                camera.driver.lead,
                camera.driver.hold,
                camera.driver.baud or line.baud,
                camera.driver.clock_ppm,
                _trouble(camera, line, driver, baud, format),
                model.writes,
            )
            for at, camera, model in asked
        )
        cameras = [(camera, model) for _, camera, model in asked]
        return Case(
            line=line.name,
            master=master.name,
            protocol=protocol,
            baud=baud,
            format=format,
            ppm=driver.clock_ppm,
            lead=driver.lead,
            hold=driver.hold,
            converter="" if converter is None else converter.name,
            packing_idle=0 if converter is None else converter.packing_idle,
            packing_length=0 if converter is None else converter.packing_length,
            latency=Spread(0, 0) if converter is None else converter.latency,
            gap=master.gap,
            listen=master.listen if converter is None else 0,
            time_out=master.time_out,
            retries=master.retries,
            offline_after=master.offline_after,
            bit_error_rate=line.bit_error_rate,
            chatter=0.0 if line.biased else line.chatter,
            units=units,
            polls=tuple(_polls(master, protocol, cameras)),
            moves=tuple(self._moves(master, protocol, cameras)),
            masters=masters,
            clash=tuple(unit.id for unit in units if answers.count(unit.id) > 1),
            faulty=_faulty(driver, kind, name),
        )

    def _moves(
        self, master: MasterPlan, protocol: BusProtocol, cameras: list[tuple[CameraPlan, _Spoken]]
    ) -> Iterator[Move]:  # fmt: skip
        rates: dict[str, dict[str, float]] = {}
        for panel in self._plan.panels:
            if panel.master == master.name:
                rate = panel.moves / (len(panel.cameras) * len(panel.controls))
                for camera in panel.cameras:
                    own = rates.setdefault(camera, {})
                    for control in panel.controls:
                        own[control] = own.get(control, 0) + rate
        polled = {value: group.name for group in reversed(master.groups) for value in group.values}
        known: dict[str, dict[str, str]] = {}  # in which group each parameter is read, by model
        for number, (one, model) in enumerate(cameras):
            if one.model not in known:
                known[one.model] = {model.called(value): group for value, group in polled.items()}
            read = known[one.model]
            for word, rate in rates.get(one.name, {}).items():
                control = model.called(word)
                if control in model.keys:
                    request = Request(one.id, WRITE, model.keys[control], 1, (0,))
                    asked, answered, more = protocol.lengths(request)
                    yield Move(number, control, rate, asked, answered, read.get(control, ""), more)

    def _spoken(self, camera: CameraPlan, protocol: BusProtocol) -> _Spoken:
        known = self._models.get((camera.model, protocol))
        if known is None:
            try:
                model = find_model(camera.model, self._folder, self._plan.files)
                known = self._models[camera.model, protocol] = _Spoken(spoken(model, protocol), protocol)
            except Findings:
                raise  # mistakes in the model's own file, each with its place there
            except UserError as error:
                raise self._at(error, f"cameras[{self._cameras[camera.name][0]}].model") from None
        return known

    def _has_id(self, index: int, camera: CameraPlan, protocol: BusProtocol) -> None:
        try:
            has_id(protocol, camera.name, camera.id)
        except UserError as error:
            raise self._at(error, f"cameras[{index}].id") from None

    def _at(self, error: UserError, field: str) -> UserError:
        """The same error with the place in the plan."""
        line, column = locate(self._plan, field)
        error.file, error.line, error.column, error.field = self._plan.path or None, line, column, field
        return error


def _polls(master: MasterPlan, protocol: BusProtocol, cameras: list[tuple[CameraPlan, _Spoken]]) -> Iterator[Poll]:
    for number, (camera, model) in enumerate(cameras):
        for group, work, name, first, size, hole, every in model.read(master):
            asked, answered, more = protocol.lengths(Request(camera.id, READ, first, size))
            yield Poll(number, group, work, name, size, hole, asked, answered, every, more)


def _trouble(camera: CameraPlan, line: LinePlan, asker: DriverPlan, baud: Fraction, format: CharFormat) -> str:
    """Why a camera never answers, or ""."""
    if not camera.present:
        return "it is not there"
    own_baud, own_format = camera.driver.baud or line.baud, camera.driver.format or line.format
    if own_baud is not baud and abs(own_baud / baud - 1) > _CLOCKS:
        return f"it is set to {float(own_baud):.10g} Bd and asked at {float(baud):.10g}"
    if own_format != format:
        return f"it is set to {own_format} and asked in {format}"
    if camera.driver.swapped != asker.swapped:
        return "its pair is swapped"
    if camera.driver.lead < 0 or camera.driver.hold < 0:
        return "its driver comes late or lets go early, so that its characters are cut"
    return ""


def _faulty(driver: DriverPlan, kind: str, name: str) -> str:
    """Why what the asker sends cannot be used, or ""."""
    if driver.lead < 0 or driver.hold < 0:
        return f"the driver of {kind} {name!r} comes late or lets go early, so that its characters are cut"
    return ""

"""Steps of a commissioning, generated from a plan in the order of the work on site.

Cameras come with the same factory ID. So they are connected one after the other, from the converter outwards, and each
gets its own ID before the next is plugged in. A camera that keeps the factory ID goes last, because a later new camera
would collide with it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from busim.commissioning.bus_scan import listening
from busim.commissioning.rehearse.orders import new_port
from busim.commissioning.rehearse.steps import Assumed, Step
from busim.commissioning.rehearse.switching import Switches, switches
from busim.foundation.units import CharFormat
from busim.installation import Installation, resolve
from busim.installation.rehearsal import (
    ASSIGN,
    BINDINGS,
    CONNECT,
    CYCLE,
    DIAL,
    IDENTIFY,
    LISTEN,
    POWER,
    READ_BACK,
    ROUND,
    SAVE,
    SET_PORT,
    SUPPLY,
    TEST_PICTURE,
    TUNE,
)
from busim.plan import CameraPlan, Plan
from busim.plan.models import Model
from busim.protocols import BusProtocol
from busim.simulator.world import World


@dataclass(frozen=True, slots=True)
class Planned:
    """One camera of a rehearsal. `distance`: metres of cable from the converter; `bus_id`: target bus ID.

    `factory_id`: bus ID as delivered; `serial`: low 16 bits as in its register, None: not planned. `slowest`: longest
    turnaround, ns; `proposed`: the plan has another ID; `unpowered`: passes, loads or cuts. `factory_port`, `port`:
    baud and format as delivered, and to be set; `over_bus`: by an order over the bus, not by switches; `note`: of its
    place.
    """

    name: str
    line: str
    place: str
    model: Model
    distance: float
    bus_id: int
    factory_id: int
    serial: int | None
    slowest: int
    proposed: bool
    unpowered: str
    factory_port: tuple[Fraction, CharFormat]
    port: tuple[Fraction, CharFormat]
    over_bus: bool
    note: str = ""

    @property
    def deaf(self) -> bool:
        """Whether its factory settings are not those that it is to have."""
        return self.factory_port != self.port


def planned(plan: Plan | Installation, world: World) -> dict[str, Planned]:
    """Every present camera by name, line by line, from the converter outwards."""
    found: dict[str, Planned] = {}
    site = resolve(plan)
    notes = {place.name: place.note for place in site.plan.places}
    for line in site.lines:
        here = [camera for camera in line.cameras if camera.name in world.cameras]
        start = next((one.metres or 0.0 for one in line.ways_in), 0.0)
        factory = {one.name: one.model.bus.factory_id if one.factory_id is None else one.factory_id for one in here}
        ids = _ids([one.camera for one in here], factory, line.speaks)
        away = {one.name: abs(one.metres - start) for one in here}
        for one in sorted(here, key=lambda one: (away[one.name], one.metres)):
            camera, name = one.camera, one.name
            port = one.factory_port or (line.line.baud, line.line.format)
            found[name] = Planned(
                name, line.name, camera.place or "", one.model, away[name], ids[name], factory[name],
                camera.serial & 0xFFFF if camera.serial else None, camera.turnaround.high, ids[name] != camera.bus_id,
                one.unpowered, port, (line.line.baud, line.line.format),
                new_port(one.model, line.speaks, factory[name], line.line.baud, line.line.format) is not None,
                notes.get(camera.place or "", ""),
            )  # fmt: skip
    return found


def _ids(cameras: list[CameraPlan], factory: Mapping[str, int], protocol: BusProtocol) -> dict[str, int]:
    """The planned IDs. Of cameras that share an ID, all but the first get free ones; the first too if the ID is a
    factory ID on this line."""
    count = Counter(camera.bus_id for camera in cameras)
    taken = set(count) | set(factory.values())
    free = (bus_id for bus_id in range(protocol.addresses[0], protocol.addresses[1] + 1) if bus_id not in taken)
    kept: set[int] = set()
    ids = {}
    for camera in cameras:
        shared = count[camera.bus_id] > 1 and (camera.bus_id in kept or camera.bus_id in factory.values())
        ids[camera.name] = next(free, camera.bus_id) if shared else camera.bus_id
        kept.add(ids[camera.name])
    return ids


def in_turn(cameras: Mapping[str, Planned], line: str) -> list[Planned]:
    """The cameras of a line in connecting order: first those that are deaf until they are set, by their settings."""
    here = [camera for camera in cameras.values() if camera.line == line]
    ports = list(dict.fromkeys(one.factory_port for one in here if one.deaf and one.over_bus))

    def turn(one: Planned) -> tuple[int, bool]:
        group = ports.index(one.factory_port) if one.deaf and one.over_bus else len(ports)
        return group, any(one.bus_id == other.factory_id for other in here if other is not one)

    return sorted(here, key=turn)


def generated(plan: Plan, cameras: Mapping[str, Planned], assumed: Assumed) -> tuple[Step, ...]:
    """The steps for every line of the plan."""
    return tuple(step for line in plan.lines for step in line_steps(plan, cameras, line.name, assumed))


def line_steps(plan: Plan, cameras: Mapping[str, Planned], line: str, assumed: Assumed) -> Iterator[Step]:
    """The steps for one line: listen, each camera, a poll of all, then the controls of the panels.

    Cameras whose factory settings are not those of the line come first, with the converter at their settings: once for
    each setting, which costs the fewest changes. A camera that is done there is at the line's settings after its power
    cycle, so it is silent until the converter is back.
    """
    here = in_turn(cameras, line)
    if not here:
        return
    length, why = listening(plan)
    hands = _Hands(switches(plan), line, assumed)
    yield Step(LISTEN, line, length=length, text=why)
    waiting: list[Planned] = []
    tuned = None
    for camera in here:
        port = camera.factory_port if camera.deaf and camera.over_bus else None
        if port != tuned:
            yield Step(
                TUNE, line, handling=assumed.page, baud=port[0] if port else None, format=port[1] if port else None
            )
            tuned = port
        if port is None:
            for one in waiting:
                yield from _checked(one, assumed)
            waiting = []
        yield from _begun(camera, hands, assumed)
        if port is None:
            yield from _checked(camera, assumed)
        else:
            waiting.append(camera)
    if tuned is not None:
        yield Step(TUNE, line, handling=assumed.page)
    for one in waiting:
        yield from _checked(one, assumed)
    yield Step(ROUND, line)
    bound = {name for panel in plan.panels for name in panel.cameras}
    for camera in here:
        if camera.name in bound:
            have = camera.model.words
            looks = sum(
                sum(control in have for control in panel.controls)
                for panel in plan.panels
                if camera.name in panel.cameras
            )
            yield Step(BINDINGS, line, camera.name, camera.bus_id, handling=looks * assumed.look)


class _Hands:
    """The switches of a line. `on`: the supplies that are on."""

    def __init__(self, every: Switches, line: str, assumed: Assumed) -> None:
        self._every, self._line, self._hands = every, line, assumed.power
        self._touched: set[str] = set()
        self.on: set[str] = set()

    def off(self, camera: str) -> Iterator[Step]:
        """Switch off what is on, or was never looked at, before the plug of a camera is moved."""
        for name in self._every.for_plug(camera, self._line):
            if name in self.on or name not in self._touched:
                yield self._step(name, False)

    def back(self, camera: str) -> Iterator[Step]:
        """Switch it on when the plug is in."""
        for name in self._every.for_plug(camera, self._line):
            yield self._step(name, True)

    def _step(self, supply: str, on: bool) -> Step:
        self._touched.add(supply)
        (self.on.add if on else self.on.discard)(supply)
        along = self._every.feeds[supply]
        return Step(SUPPLY, self._line, handling=self._hands, on=on, supply=supply, along=along)

    def supply(self, camera: str) -> str:
        """The supply whose switch takes a camera along; "" where the plan has none."""
        return self._every.of.get(camera, "")

    def along(self, camera: str) -> tuple[str, ...]:
        supply = self.supply(camera)
        return self._every.along(supply, camera) if supply else ()


def _begun(camera: Planned, hands: _Hands, assumed: Assumed) -> Iterator[Step]:
    """One new camera: connect, identify, set its ID and its port, save, power cycle."""
    line, name = camera.line, camera.name
    yield from hands.off(name)
    if camera.deaf and not camera.over_bus:
        yield Step(DIAL, line, name, handling=assumed.connect, baud=camera.port[0], format=camera.port[1])
    yield Step(CONNECT, line, name, handling=assumed.connect)
    yield from hands.back(name)
    supply = hands.supply(name)
    if not supply:
        yield Step(POWER, line, name, handling=assumed.power)
    yield Step(IDENTIFY, line, name, camera.factory_id, handling=assumed.look, times=5)
    yield Step(ASSIGN, line, name, camera.bus_id)
    if camera.deaf and camera.over_bus:
        yield Step(SET_PORT, line, name, baud=camera.port[0], format=camera.port[1])
    yield Step(SAVE, line, name)
    along = hands.along(name)
    yield Step(CYCLE, line, name, handling=assumed.cycle, length=assumed.off, supply=supply, along=along)


def _checked(camera: Planned, assumed: Assumed) -> Iterator[Step]:
    """The same camera at the settings of the line: read back, and look at its picture."""
    yield Step(READ_BACK, camera.line, camera.name, camera.bus_id)
    yield Step(TEST_PICTURE, camera.line, camera.name, camera.bus_id, handling=assumed.look)

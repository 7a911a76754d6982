"""Steps of a commissioning, generated from a plan in the order of the work on site.

Cameras come with the same factory ID. So they are connected one after the other, from the converter outwards, and each
gets its own ID before the next is plugged in. A camera that keeps the factory ID goes last, because a later new camera
would collide with it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from busim.commissioning.bus_scan import listening
from busim.commissioning.rehearse.steps import (
    ASSIGN,
    BINDINGS,
    CONNECT,
    CYCLE,
    IDENTIFY,
    LISTEN,
    POWER,
    READ_BACK,
    ROUND,
    SAVE,
    TEST_PICTURE,
    Assumed,
    Step,
)
from busim.installation import Installation, resolve
from busim.plan import CameraPlan, Plan
from busim.plan.models import Model
from busim.protocols import BusProtocol
from busim.simulator.world import World


@dataclass(frozen=True, slots=True)
class Planned:
    """One camera of a rehearsal. `distance`: metres of cable from the converter; `bus_id`: target bus ID.

    `factory_id`: bus ID as delivered; `serial`: low 16 bits as in its register, None: not planned. `slowest`: longest
    turnaround, ns; `proposed`: the plan has another ID; `unpowered`: passes, loads or cuts.
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


def planned(plan: Plan | Installation, world: World) -> dict[str, Planned]:
    """Every present camera by name, line by line, from the converter outwards."""
    found: dict[str, Planned] = {}
    for line in resolve(plan).lines:
        here = [camera for camera in line.cameras if camera.name in world.cameras]
        start = next((one.metres or 0.0 for one in line.converters), 0.0)
        factory = {one.name: one.model.bus.factory_id if one.factory_id is None else one.factory_id for one in here}
        ids = _ids([one.camera for one in here], factory, line.speaks)
        away = {one.name: abs(one.metres - start) for one in here}
        for one in sorted(here, key=lambda one: (away[one.name], one.metres)):
            camera, name = one.camera, one.name
            found[name] = Planned(
                name, line.name, camera.place or "", one.model, away[name], ids[name], factory[name],
                camera.serial & 0xFFFF if camera.serial else None, camera.turnaround.high, ids[name] != camera.bus_id,
                one.unpowered,
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
    """The cameras of a line in connecting order."""
    here = [camera for camera in cameras.values() if camera.line == line]
    return sorted(here, key=lambda one: any(one.bus_id == other.factory_id for other in here if other is not one))


def generated(plan: Plan, cameras: Mapping[str, Planned], assumed: Assumed) -> tuple[Step, ...]:
    """The steps for every line of the plan."""
    return tuple(step for line in plan.lines for step in line_steps(plan, cameras, line.name, assumed))


def line_steps(plan: Plan, cameras: Mapping[str, Planned], line: str, assumed: Assumed) -> Iterator[Step]:
    """The steps for one line: listen, each camera, a poll of all, then the controls of the panels."""
    here = in_turn(cameras, line)
    if not here:
        return
    length, why = listening(plan)
    yield Step(LISTEN, line, length=length, text=why)
    for camera in here:
        yield from camera_steps(camera, assumed)
    yield Step(ROUND, line)
    bound = {name for panel in plan.panels for name in panel.cameras}
    for camera in here:
        if camera.name in bound:
            looks = sum(len(panel.controls) for panel in plan.panels if camera.name in panel.cameras)
            yield Step(BINDINGS, line, camera.name, camera.bus_id, handling=looks * assumed.look)


def camera_steps(camera: Planned, assumed: Assumed) -> Iterator[Step]:
    """One new camera: connect, identify, set its ID, save, power cycle and read back."""
    line, name = camera.line, camera.name
    yield Step(CONNECT, line, name, handling=assumed.connect)
    yield Step(POWER, line, name, handling=assumed.power)
    yield Step(IDENTIFY, line, name, camera.factory_id, handling=assumed.look, times=5)
    yield Step(ASSIGN, line, name, camera.bus_id)
    yield Step(SAVE, line, name)
    yield Step(CYCLE, line, name, handling=assumed.cycle, length=assumed.off)
    yield Step(READ_BACK, line, name, camera.bus_id)
    yield Step(TEST_PICTURE, line, name, camera.bus_id, handling=assumed.look)

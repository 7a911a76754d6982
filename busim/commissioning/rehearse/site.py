"""The emulated site of a rehearsal: cameras in their boxes, a laptop at each converter, hands, and what is believed.

What the person who commissions believes (where a camera answers now) is kept apart from what is so: steps go by the
first, and when they fail, the second says why.
"""

from __future__ import annotations

from busim.commissioning.bus_scan import Ground
from busim.commissioning.rehearse.orders import new_id, order
from busim.commissioning.rehearse.script import Planned
from busim.foundation.errors import UserError
from busim.installation import resolve
from busim.plan import Plan
from busim.plan.models import Model, Parameter
from busim.protocols import READ, WRITE, BusProtocol, Request
from busim.simulator.world import CameraPort, Heard, Tool, Way, World, way_through

_IN, _PAST, _OPEN = "in", "past", "open"  # on the pair; off it, and it goes on; off it, and it ends there
_STARTING = 500_000_000  # ns given to a camera beyond the time that its model starts in


class Site:
    """`believed`: where each camera is taken to answer. `unplugged`, `assigned`: cameras off the pair, and those that
    have acknowledged an ID; `by_hand`: those whose ID was set by their switches; `met`: those that are connected and of
    which no step has failed. By line: `tools`, `grounds` (what the plan says of it) and `refused` (why it has no tool).
    """

    def __init__(self, plan: Plan, world: World, cameras: dict[str, Planned]) -> None:
        self.world = world
        self.cameras = cameras
        self.believed = {name: camera.factory_id for name, camera in cameras.items()}
        self.unplugged: set[str] = set()
        self.assigned: set[str] = set()
        self.by_hand: set[str] = set()
        self.met: set[str] = set()
        self._panels = plan.panels
        self.tools: dict[str, Tool] = {}
        self.refused: dict[str, UserError] = {}
        self.grounds: dict[str, Ground] = {}
        self._ways: dict[str, Way] = {}
        self._slowest = {
            line.name: max((one.slowest for one in cameras.values() if one.line == line.name), default=0)
            for line in plan.lines
        }
        site = resolve(plan)
        for line in plan.lines:
            try:
                tool = self.tools[line.name] = Tool(world, line.name)
            except UserError as error:
                self.refused[line.name] = error
                continue
            self.grounds[line.name] = Ground(site, line.name)
            self._ways[line.name] = way_through(site.converters[tool.converter])
        self._through: dict[str, bool] = {}
        self._dark: set[str] = set()
        self._stand = dict.fromkeys(cameras, _IN)
        for name, camera in cameras.items():
            self.unplug(name)
            self.fit(name, camera.factory_id, camera.serial or 0)

    # -- looks ------------------------------------------------------------------------------------------------

    def port(self, camera: str) -> CameraPort:
        return self.world.cameras[camera]

    def model(self, camera: str) -> Model:
        return self.cameras[camera].model

    def protocol(self, camera: str) -> BusProtocol:
        return self.world.protocols[self.cameras[camera].line]

    def on_line(self, line: str) -> list[str]:
        """Its cameras, from the converter outwards."""
        return [name for name, camera in self.cameras.items() if camera.line == line]

    def bound(self, camera: str, panel: str = "") -> list[tuple[str, str]]:
        """Panel and control of everything that moves this camera; `panel`: of one panel alone."""
        panels = [one for one in self._panels if camera in one.cameras and panel in ("", one.name)]
        return [(one.name, control) for one in panels for control in one.controls]

    def reaches(self, camera: str) -> bool:
        """Whether the pair goes from the tool's converter to this camera now."""
        line = self.cameras[camera].line
        pieces = self.world.lines[line].segments
        return pieces is None or pieces.together(self.tools[line].station, self.port(camera).station)

    def opens(self, camera: str) -> str:
        """Why the pair does not go on past this camera now, "" where it does."""
        if camera in self.unplugged:
            return "" if self._through[camera] else "whose plug is out and does not pass the pair on"
        cuts = camera in self._dark and self.cameras[camera].unpowered == "cuts"
        return "which has no power and opens the pair then" if cuts else ""

    def _rewire(self, camera: str) -> None:
        """Bring the wiring to what plug and power of a camera make of it: one may cut the pair while it has none."""
        stand = _OPEN if self.opens(camera) else _PAST if camera in self.unplugged else _IN
        if stand == self._stand[camera]:
            return
        self._stand[camera] = stand
        if stand == _IN:
            self.world.wiring.plug(camera)
        else:
            self.world.wiring.unplug(camera, through=stand == _PAST)

    @property
    def now(self) -> int:
        return self.world.kernel.now

    # -- hands ------------------------------------------------------------------------------------------------

    def plug(self, camera: str) -> None:
        self.unplugged.discard(camera)
        self.met.add(camera)
        self._rewire(camera)

    def unplug(self, camera: str, through: bool = True) -> None:
        self.unplugged.add(camera)
        self._through[camera] = through
        self._rewire(camera)

    def fit(self, camera: str, id: int, serial: int) -> None:
        """Put another unit in its place, as it comes; it has no power yet."""
        self.world.wiring.fit(camera, id, serial)
        self._dark.add(camera)
        self._rewire(camera)

    def power(self, camera: str, on: bool) -> None:
        """Switch a camera, and wait until it should have started."""
        self.world.wiring.power(camera, on)
        (self._dark.discard if on else self._dark.add)(camera)
        self._rewire(camera)
        self.wait(self.model(camera).timing.boot + _STARTING if on else 0)

    def wait(self, length: int) -> None:
        until = self.now + length
        if not self.tools:
            self.world.kernel.advance(until)
        else:
            next(iter(self.tools.values())).wait(until)

    # -- questions ----------------------------------------------------------------------------------------------

    def ask(self, line: str, request: Request) -> Heard:
        """Ask, and listen to the end of the time-out, since a second camera may answer later."""
        tool = self.tools[line]
        return tool.ask(request, self._ways[line].time_out(tool.protocol, request, self._slowest[line]))

    def request(self, camera: str, name: str, id: int, value: int | None = None) -> Request:
        """To read a parameter of a camera, or to write a value to it."""
        key = self.model(camera).keys[self.protocol(camera).name][name]
        return Request(id, READ, key, 1) if value is None else Request(id, WRITE, key, 1, (value,))

    def parameter(self, camera: str, meaning: str, *, writable: bool = False) -> Parameter | None:
        """The parameter of its model with this meaning, where its line's protocol has a key for it."""
        keys = self.model(camera).keys[self.protocol(camera).name]
        for one in self.model(camera).parameters:
            if one.meaning == meaning and one.name in keys and (one.writable or not writable):
                return one
        return None

    def tell_apart(self, camera: str) -> Parameter:
        """What a camera is best told from others by: its serial number, else whatever it lets one read."""
        for meaning in ("serial", "bus_id"):
            found = self.parameter(camera, meaning)
            if found is not None:
                return found
        keys = self.model(camera).keys[self.protocol(camera).name]
        return next(one for one in self.model(camera).parameters if one.name in keys)

    def order(self, camera: str, deed: str, id: int) -> Request | None:
        """What makes a camera do something (save, identify); None: nothing over the bus does."""
        return order(self.model(camera), self.protocol(camera), deed, id)

    def new_id(self, camera: str, at: int, id: int) -> Request | None:
        """What gives it a bus ID; None: nothing over the bus does."""
        return new_id(self.model(camera), self.protocol(camera), at, id)

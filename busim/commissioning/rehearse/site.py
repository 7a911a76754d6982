"""The emulated site of a rehearsal: new cameras, a laptop at each converter, site actions, and believed bus IDs.

The bus ID at which the crew believes a camera to answer is kept apart from its real one. Steps use the believed ID; the
real one gives the reason when a step fails.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from busim.commissioning.bus_scan import Ground
from busim.commissioning.rehearse.orders import new_id, new_port, order
from busim.commissioning.rehearse.script import Planned
from busim.commissioning.rehearse.switching import switches
from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.installation import resolve
from busim.plan import Plan
from busim.plan.models import Model, Parameter
from busim.protocols import READ, WRITE, BusProtocol, Request
from busim.simulator.bus import setting
from busim.simulator.world import DOWN, CameraPort, Heard, Tool, Way, World, way_through

_IN, _PAST, _OPEN = "in", "past", "open"  # plugged; unplugged, pair joined; unplugged, pair open
_STARTING = 500_000_000  # ns added to the start-up time of a model


class Site:
    """State of the site. `believed`: bus ID at which each camera is expected; `unplugged`: cameras off the pair;
    `assigned`: cameras that acknowledged an ID; `by_hand`: IDs set by switches; `met`: connected cameras without a
    failed step. By line: `tools`, `grounds` (its facts from the plan), `refused` (why it has no tool).
    """

    def __init__(self, plan: Plan, world: World, cameras: dict[str, Planned]) -> None:
        self.world = world
        self.cameras = cameras
        self.believed = {name: camera.factory_id for name, camera in cameras.items()}
        self.unplugged: set[str] = set()
        self.assigned: set[str] = set()
        self.by_hand: set[str] = set()
        self.met: set[str] = set()
        site = resolve(plan)
        self._panels = site.panels
        self.tools: dict[str, Tool] = {}
        self.refused: dict[str, UserError] = {}
        self.grounds: dict[str, Ground] = {}
        self._ways: dict[str, Way] = {}
        self._slowest = {
            line.name: max((one.slowest for one in cameras.values() if one.line == line.name), default=0)
            for line in plan.lines
        }
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
        self._switches = switches(plan)
        self._boxes = site.converters
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
        """(panel, control) of each control for this camera; `panel`: of this panel only."""
        return [
            (one.panel.name, command.control)
            for one in self._panels if panel in ("", one.panel.name)
            for command in one.commands if command.camera.name == camera
        ]  # fmt: skip

    def reaches(self, camera: str) -> bool:
        """Whether the pair goes from the tool's converter to this camera now."""
        line = self.cameras[camera].line
        pieces = self.world.lines[line].segments
        return pieces is None or pieces.together(self.tools[line].station, self.port(camera).station)

    def opens(self, camera: str) -> str:
        """Why the pair is open at this camera now, "" if it is not."""
        if camera in self.unplugged:
            return "" if self._through[camera] else "which is unplugged and whose plug opens the pair"
        cuts = camera in self._dark and self.cameras[camera].unpowered == "cuts"
        return "which opens the pair while it has no power" if cuts else ""

    def _rewire(self, camera: str) -> None:
        """Set the wiring by plug and power: some cameras open the pair while they have no power."""
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

    # -- site actions ------------------------------------------------------------------------------------------------

    def plug(self, camera: str) -> None:
        self.unplugged.discard(camera)
        self.met.add(camera)
        self._rewire(camera)

    def unplug(self, camera: str, through: bool = True) -> None:
        self.unplugged.add(camera)
        self._through[camera] = through
        self._rewire(camera)

    def fit(self, camera: str, bus_id: int, serial: int) -> None:
        """Put another unit in its place, at factory settings and without power."""
        self.world.wiring.fit(camera, bus_id, serial)
        baud, format = self.cameras[camera].factory_port
        own = self.port(camera).station.setting
        if (own.baud, own.format) != (baud, format):  # the plan knows better than the model
            self.world.wiring.dial(camera, baud, format)
        self._dark.add(camera)
        self._rewire(camera)

    def power(self, camera: str, on: bool) -> None:
        """Switch the power of a camera, and wait for its start-up time."""
        self.world.wiring.power(camera, on)
        (self._dark.discard if on else self._dark.add)(camera)
        self._rewire(camera)
        self.wait(self.model(camera).timing.boot + _STARTING if on else 0)

    def switch(self, supply: str, on: bool) -> tuple[str, ...]:
        """Switch a supply: every connected camera that it feeds starts, or loses what it has not saved. Wait until all
        have started, converters too. The connected cameras that it feeds."""
        fed = [name for name in self._switches.feeds[supply] if name in self.cameras and name not in self.unplugged]
        for name in fed:
            self.world.wiring.power(name, on)
            (self._dark.discard if on else self._dark.add)(name)
            self._rewire(name)
        boots = [self.model(name).timing.boot + _STARTING for name in fed]
        boots += [DOWN for name in self._switches.feeds[supply] if name in self._boxes]
        self.wait(max(boots, default=0) if on else 0)
        return tuple(fed)

    def tune(self, line: str, baud: Fraction | None, format: CharFormat | None) -> tuple[Fraction, CharFormat]:
        """Set the port of a line's converter; None: as planned. The setting that it has now."""
        own = self._boxes[self.tools[line].converter].port
        assert own is not None
        to = baud or own.baud, format or own.format
        self.tools[line].set(*to)
        self._ways[line] = replace(self._ways[line], setting=setting(*to))
        self.grounds[line].tune(setting(*to))
        return to

    def wait(self, length: int) -> None:
        until = self.now + length
        if not self.tools:
            self.world.kernel.advance(until)
        else:
            next(iter(self.tools.values())).wait(until)

    # -- requests ----------------------------------------------------------------------------------------------

    def ask(self, line: str, request: Request) -> Heard:
        """Send a request and listen for the whole time-out, since a second camera may answer late."""
        tool = self.tools[line]
        return tool.ask(request, self._ways[line].time_out(tool.protocol, request, self._slowest[line]))

    def request(self, camera: str, name: str, bus_id: int, value: int | None = None) -> Request:
        """Request to read a parameter of a camera, or to write `value` to it."""
        key = self.model(camera).keys[self.protocol(camera).name][name]
        return Request(bus_id, READ, key, 1) if value is None else Request(bus_id, WRITE, key, 1, (value,))

    def parameter(self, camera: str, meaning: str, *, writable: bool = False) -> Parameter | None:
        """The parameter of its model with this meaning, if the protocol of its line has a key for it."""
        keys = self.model(camera).keys[self.protocol(camera).name]
        for one in self.model(camera).parameters:
            if one.meaning == meaning and one.name in keys and (one.writable or not writable):
                return one
        return None

    def tell_apart(self, camera: str) -> Parameter:
        """The parameter that identifies a camera: its serial number, else its bus ID, else any readable one."""
        for meaning in ("serial", "bus_id"):
            found = self.parameter(camera, meaning)
            if found is not None:
                return found
        keys = self.model(camera).keys[self.protocol(camera).name]
        return next(one for one in self.model(camera).parameters if one.name in keys)

    def order(self, camera: str, does: str, bus_id: int) -> Request | None:
        """Request for an order (save, identify) at a bus ID; None if the bus has none."""
        return order(self.model(camera), self.protocol(camera), does, bus_id)

    def new_port(self, camera: str, at: int, baud: Fraction, format: CharFormat) -> Request | None:
        """Request that gives it another baud and format; None if the bus has none."""
        return new_port(self.model(camera), self.protocol(camera), at, baud, format)

    def new_id(self, camera: str, at: int, bus_id: int) -> Request | None:
        """Request that gives it a new bus ID; None if the bus has none."""
        return new_id(self.model(camera), self.protocol(camera), at, bus_id)

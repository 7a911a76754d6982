"""The state of the emulated site: new cameras, a laptop at each converter, and the actions of the crew."""

from __future__ import annotations

import dataclasses
from fractions import Fraction

from busim.commissioning.bus_scan import Ground
from busim.commissioning.rehearse.script import Planned
from busim.commissioning.rehearse.site import Site
from busim.commissioning.rehearse.switching import switches
from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.plan import Plan
from busim.protocols import Request
from busim.simulator.bus import setting
from busim.simulator.world import DOWN, CameraPort, Heard, Tool, Way, World, way_through

_IN, _PAST, _OPEN = "in", "past", "open"  # plugged; unplugged, pair joined; unplugged, pair open
_STARTING = 500_000_000  # ns added to the start-up time of a model


class EmulatedState(Site):
    """`unplugged`: cameras off the pair; `tools`: the laptop of each line."""

    tools: dict[str, Tool]

    def __init__(self, plan: Plan, world: World, cameras: dict[str, Planned]) -> None:
        super().__init__(plan, cameras)
        self.world = world
        self.unplugged: set[str] = set()
        self.tools = {}
        self._ways: dict[str, Way] = {}
        site = self.installation
        for line in plan.lines:
            try:
                self.tools[line.name] = Tool(world, line.name)
            except UserError as error:
                self.refused[line.name] = error
                continue
            ground = self.grounds[line.name] = Ground(site, line.name)
            self._ways[line.name] = way_through(ground.at)
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

    def stands(self, control: str) -> dict[str, int]:
        return {
            name: port.camera.values[port.camera.model.called(control)]
            for name, port in self.world.cameras.items()
            if port.camera.model.called(control) in port.camera.values
        }

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
        self.world.wiring.power(camera, on)
        (self._dark.discard if on else self._dark.add)(camera)
        self._rewire(camera)
        self.wait(self.model(camera).timing.boot + _STARTING if on else 0)

    def switch(self, supply: str, on: bool) -> tuple[str, ...]:
        fed = [name for name in self._switches.feeds[supply] if name in self.cameras and name not in self.unplugged]
        for name in fed:
            self.world.wiring.power(name, on)
            (self._dark.discard if on else self._dark.add)(name)
            self._rewire(name)
        boots = [self.model(name).timing.boot + _STARTING for name in fed]
        boxes = [name for name in self._switches.feeds[supply] if name in self._boxes]
        boots += [DOWN for _ in boxes]
        self.wait(max(boots, default=0) if on else 0)
        return (*boxes, *fed)

    def tune(self, line: str, baud: Fraction | None, format: CharFormat | None) -> tuple[Fraction, CharFormat]:
        own = self.grounds[line].at.port
        assert own is not None
        to = baud or own.baud, format or own.format
        self.tools[line].set(*to)
        self._ways[line] = dataclasses.replace(self._ways[line], setting=setting(*to))
        self.grounds[line].tune(setting(*to))
        return to

    def set_by_hand(self, camera: str, bus_id: int) -> None:
        own = self.port(camera).station.setting
        self.fit(camera, bus_id, self.cameras[camera].serial or 0)
        self.world.wiring.dial(camera, own.baud, own.format)  # its other switches stay as they are
        self.power(camera, True)

    def swap(self, camera: str, swapped: bool) -> None:
        self.world.wiring.swap(camera, swapped)

    def dial(self, camera: str, baud: Fraction | None, format: CharFormat | None) -> tuple[Fraction, CharFormat]:
        own = self.port(camera).station.setting
        to = baud or own.baud, format or own.format
        self.world.wiring.dial(camera, *to)
        return to

    def replace(self, camera: str, bus_id: int, serial: int) -> None:
        self.fit(camera, bus_id, serial)
        self.power(camera, True)

    def mark(self, text: str) -> None:
        self.world.mark(text)

    def wait(self, length: int) -> None:
        until = self.now + length
        if not self.tools:
            self.world.kernel.advance(until)
        else:
            next(iter(self.tools.values())).wait(until)

    def ask(self, line: str, request: Request) -> Heard:
        tool = self.tools[line]
        return tool.ask(request, self._ways[line].time_out(tool.protocol, request, self.slowest(line)))

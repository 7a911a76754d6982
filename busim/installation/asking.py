"""The polls of a master on one line, and the commands of a panel through it: requests before they are sent."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from busim.foundation.units import Spread
from busim.installation.policy import MasterPolicy
from busim.installation.spoken import Run
from busim.installation.stations import Port, ResolvedCamera, ResolvedConverter
from busim.physics.exchange import drain
from busim.plan import ConverterPlan, DriverPlan, JoystickPlan, MasterPlan, PanelPlan
from busim.plan.models import Parameter
from busim.protocols import READ, WRITE, BusProtocol, Request

_AT_ONCE = Spread(0, 0)


class Poll(NamedTuple):
    """One repeated read. `number`: index of its camera among those that the master asks on the line."""

    number: int
    camera: ResolvedCamera
    run: Run

    @property
    def request(self) -> Request:
        return Request(self.camera.camera.bus_id, READ, self.run.first, self.run.size)


@dataclass(frozen=True, slots=True)
class Command:
    """A move of one control of one camera. `control`: its word in the plan; `rate`: mean moves per second."""

    camera: ResolvedCamera
    control: str
    parameter: Parameter
    rate: float

    def request(self, value: int) -> Request:
        """The request that sets it to a value."""
        return self.camera.speaks.command(self.camera.camera.bus_id, self.control, WRITE, value)


@dataclass(frozen=True)
class Asker:
    """A master on one line, through `box` or directly (None).

    `field`: path of the master; `port`: the port of its requests, at `metres` of the line. `cameras`: those that it
    asks there, in the order of the line. `protocol`: None if not found.
    """

    field: str
    master: MasterPlan
    line: str
    box: ResolvedConverter | None
    port: Port
    metres: float
    cameras: tuple[ResolvedCamera, ...]
    protocol: BusProtocol | None
    policy: MasterPolicy

    @property
    def converter(self) -> ConverterPlan | None:
        """The converter that it asks through."""
        return None if self.box is None else self.box.converter

    @property
    def converter_field(self) -> str:
        """The path of the converter, "" without one."""
        return "" if self.box is None else self.box.field

    @property
    def driver(self) -> DriverPlan:
        """The driver of the port."""
        return self.port.driver

    @property
    def way(self) -> str:
        """The field that puts the master on this line."""
        if self.box is None:
            return f"{self.field}.on[{self.master.on.index(self.line)}]"
        return f"{self.field}.through[{self.master.through.index(self.box.name)}]"

    @property
    def packing(self) -> int:
        """ns of silence after which the converter forwards a reply, 0 without a converter."""
        return 0 if self.converter is None else self.converter.packing_idle

    @property
    def latency(self) -> Spread:
        """Delay between master and line, ns each way."""
        return _AT_ONCE if self.converter is None else self.converter.latency

    @property
    def listen(self) -> int:
        """ns of silence that it waits for before it sends; 0 behind a converter, where it cannot hear the line."""
        return self.master.listen if self.box is None else 0

    @property
    def gap(self) -> int:
        """ns between a reply and the next request. Needs a known protocol."""
        assert self.protocol is not None
        return max(self.master.gap, self.protocol.silence(float(self.port.baud)))

    @property
    def drain(self) -> int:
        """ns of silence after a failure before it asks again."""
        return drain(self.gap, self.packing, self.latency.high)

    @cached_property
    def polls(self) -> tuple[Poll, ...]:
        """Its polls, camera by camera: one for each run of neighbouring keys of the model in each group."""
        return tuple(self._polls())

    def _polls(self) -> Iterator[Poll]:
        runs: dict[int, tuple[Run, ...]] = {}  # by model: cameras of one model share it
        for number, camera in enumerate(self.cameras):
            spoken = camera.speaks
            if id(spoken) not in runs:
                runs[id(spoken)] = tuple(spoken.reads(self.master.groups))
            for run in runs[id(spoken)]:
                yield Poll(number, camera, run)


@dataclass(frozen=True, slots=True)
class ResolvedJoystick:
    """A joystick. `commands`: one for each of its controls; each position gives all of them a value."""

    joystick: JoystickPlan
    commands: tuple[Command, ...]

    @property
    def every(self) -> int:
        """ns from one position to the next."""
        return round(1e9 / self.joystick.rate)


@dataclass(frozen=True, slots=True)
class ResolvedPanel:
    """A panel. `commands`: every control of every camera that has it, in the plan's order, at the rate of `moves`."""

    field: str
    panel: PanelPlan
    commands: tuple[Command, ...]
    joysticks: tuple[ResolvedJoystick, ...] = ()

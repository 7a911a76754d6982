"""The site of a commissioning: what the plan says of it, and what the crew believes. The steps act on it.

Two kinds of site carry out the same steps: the emulated one here, and the real line (`busim.onsite.rehearsing`). What
only one of them can do, or only the emulator knows, is a method that each fills in.

The bus ID at which the crew believes a camera to answer is kept apart from its real one. Steps use the believed ID.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from fractions import Fraction

from busim.commissioning.bus_scan import Asks, Ground
from busim.commissioning.rehearse.orders import new_id, new_port, order
from busim.commissioning.rehearse.result import Outcome, Reason
from busim.commissioning.rehearse.script import Planned
from busim.commissioning.rehearse.steps import Step
from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.installation import resolve
from busim.plan import Plan
from busim.plan.models import Model, Parameter
from busim.protocols import READ, WRITE, BusProtocol, Request
from busim.simulator.world import Heard


class Declined(Exception):
    """The person at the line said no to something; nothing of it was done."""


class Site(ABC):
    """State of the site. `believed`: bus ID at which each camera is expected; `assigned`: cameras that acknowledged an
    ID; `by_hand`: IDs set by switches; `met`: connected cameras without a failed step. By line: `tools`, `grounds` (its
    facts from the plan), `refused` (why it has no tool).
    """

    tools: Mapping[str, Asks]

    def __init__(self, plan: Plan, cameras: Mapping[str, Planned]) -> None:
        self.cameras = cameras
        self.believed = {name: camera.factory_id for name, camera in cameras.items()}
        self.assigned: set[str] = set()
        self.by_hand: set[str] = set()
        self.met: set[str] = set()
        self.refused: dict[str, UserError] = {}
        self.grounds: dict[str, Ground] = {}
        self.installation = resolve(plan)
        self._panels = self.installation.panels
        self._protocols = {line.name: line.speaks for line in self.installation.lines}

    # -- looks ------------------------------------------------------------------------------------------------

    def model(self, camera: str) -> Model:
        return self.cameras[camera].model

    def protocol(self, camera: str) -> BusProtocol:
        return self._protocols[self.cameras[camera].line]

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

    def slowest(self, line: str) -> int:
        """Longest turnaround of its cameras, ns."""
        return max((one.slowest for one in self.cameras.values() if one.line == line), default=0)

    @property
    @abstractmethod
    def now(self) -> int:
        """ns."""

    @abstractmethod
    def stands(self, control: str) -> Mapping[str, int]:
        """Current value of this control in each camera, where that is known without asking."""

    @abstractmethod
    def why(self, camera: str, bus_id: int, heard: Heard) -> Reason | None:
        """Why a request to `camera` at `bus_id` brought no single valid reply from it; None where it did."""

    # -- site actions -----------------------------------------------------------------------------------------

    def found_at(self, camera: str, bus_id: int) -> int:
        """The bus ID at which a camera, expected at `bus_id`, is asked from now on."""
        return bus_id

    def sees(self, look: str) -> Reason | None:
        """Have the crew confirm something by eye: None, or why it is not so."""
        return None

    @abstractmethod
    def listen(self, step: Step) -> Outcome: ...

    @abstractmethod
    def plug(self, camera: str) -> None: ...

    @abstractmethod
    def unplug(self, camera: str, through: bool = True) -> None: ...

    @abstractmethod
    def power(self, camera: str, on: bool) -> None:
        """Switch the power of a camera, and wait for its start-up time."""

    @abstractmethod
    def switch(self, supply: str, on: bool) -> tuple[str, ...]:
        """Switch a supply, and wait until all that it feeds have started. The converters and the connected cameras that
        it feeds."""

    @abstractmethod
    def tune(self, line: str, baud: Fraction | None, format: CharFormat | None) -> tuple[Fraction, CharFormat]:
        """Set the port of a line's converter; None: as planned. The setting that it has now."""

    @abstractmethod
    def set_by_hand(self, camera: str, bus_id: int) -> None:
        """Set its bus ID at its switches, and start it."""

    @abstractmethod
    def swap(self, camera: str, swapped: bool) -> None:
        """Swap the two wires of the pair at a camera, or swap them back."""

    @abstractmethod
    def dial(self, camera: str, baud: Fraction | None, format: CharFormat | None) -> tuple[Fraction, CharFormat]:
        """Set the switches of a camera; None: as they are. The setting that it has then."""

    @abstractmethod
    def replace(self, camera: str, bus_id: int, serial: int) -> None:
        """Put another unit in its place, and start it."""

    @abstractmethod
    def mark(self, text: str) -> None: ...

    @abstractmethod
    def wait(self, length: int) -> None: ...

    # -- requests ---------------------------------------------------------------------------------------------

    @abstractmethod
    def ask(self, line: str, request: Request) -> Heard:
        """Send a request and listen for the whole time-out, since a second camera may answer late."""

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

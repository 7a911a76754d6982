"""What stands on a line, each with its place in the plan and the values that apply to it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from busim.foundation.errors import Defect
from busim.foundation.units import CharFormat
from busim.installation.spoken import Spoken
from busim.plan import CameraPlan, ConverterPlan, DriverPlan, MasterPlan, Place
from busim.plan.models import Model

_UNIT_LOAD, _UNPOWERED = 0.125, "passes"  # of a camera whose model is not there: a finding says so


@dataclass(frozen=True, slots=True)
class Port:
    """A serial port with the values that apply: those of its own driver, or its line's."""

    baud: Fraction
    format: CharFormat
    driver: DriverPlan


@dataclass(frozen=True, slots=True)
class ResolvedCamera:
    """A camera on its line. `field`: its path in the plan (`cameras[3]`); `metres` from the first position.

    `known`: its model, and `spoken`: that model under the line's protocol. Each is None where it cannot be had; in an
    installation that `resolve` gave, neither is.
    """

    field: str
    camera: CameraPlan
    line: str
    metres: float
    port: Port
    known: Model | None
    spoken: Spoken | None

    @property
    def name(self) -> str:
        return self.camera.name

    @property
    def speaks(self) -> Spoken:
        """Its model under the line's protocol."""
        if self.spoken is None:
            raise Defect(f"camera {self.name!r} was used, and its model or protocol is not known")
        return self.spoken

    @property
    def model(self) -> Model:
        """Its model, with its keys under the line's protocol."""
        return self.speaks.model

    @property
    def factory_id(self) -> int | None:
        """Its bus ID as delivered: as written, or its model's; None where neither is known."""
        if self.camera.factory_id is not None:
            return self.camera.factory_id
        return None if self.known is None else self.known.bus.factory_id

    @property
    def unpowered(self) -> str:
        """What it does to the pair without supply: passes, loads or cuts."""
        return self.camera.unpowered or (_UNPOWERED if self.known is None else self.known.bus.unpowered)

    @property
    def unit_load(self) -> float:
        """The part of a standard receiver that it is."""
        return self.camera.unit_load or (_UNIT_LOAD if self.known is None else self.known.bus.unit_load)


@dataclass(frozen=True, slots=True)
class ResolvedConverter:
    """A converter. `line`, `metres` and `port` are None where it stands on no line."""

    field: str
    converter: ConverterPlan
    line: str | None = None
    metres: float | None = None
    port: Port | None = None

    @property
    def name(self) -> str:
        return self.converter.name


@dataclass(frozen=True, slots=True)
class ResolvedMaster:
    """A master as the plan has it. An `Asker` is what it is on one line."""

    field: str
    master: MasterPlan

    @property
    def name(self) -> str:
        return self.master.name


@dataclass(frozen=True, slots=True)
class Station:
    """A position of a line. `field`: its path in the plan (`lines[0].order[2]`); `at` None: a terminator."""

    field: str
    place: Place
    at: ResolvedCamera | ResolvedConverter | ResolvedMaster | None

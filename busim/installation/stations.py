"""The stations of a line, each with its place in the plan and its effective values."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from busim.foundation.errors import Defect
from busim.foundation.units import CharFormat
from busim.installation.spoken import Spoken
from busim.plan import CameraPlan, ConverterPlan, DriverPlan, MasterPlan, Place
from busim.plan.models import Model

_UNIT_LOAD, _UNPOWERED = 0.125, "passes"  # of a camera with an unknown model, which has a finding


@dataclass(frozen=True, slots=True)
class Port:
    """A serial port with its effective values: from its own driver, else from its line."""

    baud: Fraction
    format: CharFormat
    driver: DriverPlan


@dataclass(frozen=True, slots=True)
class ResolvedCamera:
    """A camera on its line. `field`: its path in the plan (`cameras[3]`); `metres` from the first position.

    `known`: its model, and `spoken`: that model under the line's protocol. Each is None if not found, and
    never None in a result of `resolve`.
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
            raise Defect(f"camera {self.name!r} was used although its model or protocol is unknown")
        return self.spoken

    @property
    def model(self) -> Model:
        """Its model, with its keys under the line's protocol."""
        return self.speaks.model

    @property
    def factory_id(self) -> int | None:
        """Its bus ID as delivered: from the plan or its model; None if neither has it."""
        if self.camera.factory_id is not None:
            return self.camera.factory_id
        return None if self.known is None else self.known.bus.factory_id

    @property
    def factory_port(self) -> tuple[Fraction, CharFormat] | None:
        """Its baud and format as delivered: from the plan, else from its model; None if neither has one of them."""
        bus = None if self.known is None else self.known.bus
        baud = self.camera.factory_baud or (bus.factory_baud if bus else None)
        format = self.camera.factory_format or (bus.factory_format if bus else None)
        return None if baud is None or format is None else (baud, format)

    @property
    def unpowered(self) -> str:
        """Its effect on the pair without supply: passes, loads or cuts."""
        return self.camera.unpowered or (_UNPOWERED if self.known is None else self.known.bus.unpowered)

    @property
    def unit_load(self) -> float:
        """Its load on the line, in unit loads."""
        return self.camera.unit_load or (_UNIT_LOAD if self.known is None else self.known.bus.unit_load)


@dataclass(frozen=True, slots=True)
class ResolvedConverter:
    """A converter. `line`, `metres` and `port` are None if it is on no line."""

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
    """A master as in the plan. An `Asker` is a master on one line."""

    field: str
    master: MasterPlan

    @property
    def name(self) -> str:
        return self.master.name


@dataclass(frozen=True, slots=True)
class ResolvedPort:
    """A real port that stands on a line itself. `box`: how it is emulated: bytes pass at once, both ways."""

    field: str
    box: ResolvedConverter

    @property
    def name(self) -> str:
        return self.box.name


@dataclass(frozen=True, slots=True)
class Station:
    """A position of a line. `field`: its path in the plan (`lines[0].order[2]`); `at` None: a terminator."""

    field: str
    place: Place
    at: ResolvedCamera | ResolvedConverter | ResolvedMaster | ResolvedPort | None

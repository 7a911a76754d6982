"""A running installation: all parts of a plan as live objects around one kernel."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from fractions import Fraction
from typing import NamedTuple

from busim.foundation.units import CharFormat
from busim.protocols import BusProtocol
from busim.recording.trace import MARK, Emit
from busim.simulator.bus import Line, Setting, Station
from busim.simulator.fault_hooks import LineLevel
from busim.simulator.kernel import Chance, Kernel
from busim.simulator.world.camera_ports import CameraPort
from busim.simulator.world.controller_hook import Hook
from busim.simulator.world.converter_ports import ConverterPort
from busim.simulator.world.fault_board import FaultBoard
from busim.simulator.world.fault_entries import FaultEntry
from busim.simulator.world.master_ports import MasterPort
from busim.simulator.world.operators import Joystick, Operator
from busim.simulator.world.site_actions import Wiring


class Name(NamedTuple):
    """An entity of the trace: `kind` line, camera, converter, master; `parent`: its line, 0 for none."""

    row: int
    kind: str
    name: str
    parent: int


class SettingRow(NamedTuple):
    """A setting of a sender, as the trace names it. `lead` and `hold`: ns, as in the plan."""

    row: int
    baud: Fraction
    format: CharFormat
    ppm: float
    inverted: bool
    lead: int
    hold: int


class World:
    """Made by `build`. `start` it, `advance` it as far as wanted, `finish` it.

    Attributes: `kernel`, `names`, `lines`, `cameras`, `converters`, `masters` (name to live object; a master has one
    object per line), `settings` (rows made so far; `told` gets each new one), `wiring` (site work on it), `faults` (the
    faults that are on, and their effects), `chance`, `hook` (None without one), `moves` (master and camera to the
    function that gives that master a move: control, value, whether by steps).
    """

    def __init__(
        self, emit: Emit, kernel: Kernel, chance: Chance, hook: Hook | None = None, faults: Iterable[FaultEntry] = ()
    ) -> None:
        self.chance = chance
        self.kernel = kernel
        self.hook = hook
        self.emit = emit
        self.names: list[Name] = []
        self.settings: list[SettingRow] = []
        self.lines: dict[str, Line] = {}
        self.cameras: dict[str, CameraPort] = {}
        self.converters: dict[str, ConverterPort] = {}
        self.masters: dict[tuple[str, str], MasterPort] = {}
        self.protocols: dict[str, BusProtocol] = {}
        self.operators: list[Operator | Joystick] = []
        self.moves: dict[tuple[str, str], Callable[[str, int, bool], None]] = {}
        self.disturbances: list[tuple[Line, LineLevel]] = []
        self.told: Callable[[SettingRow], None] = lambda _: None
        self.wiring = Wiring(self)
        self.faults = FaultBoard(self, faults)
        self._setting_ids: dict[tuple[Setting, int, int], int] = {}

    def number(self, kind: str, name: str, parent: int = 0) -> int:
        """A new number for an entity."""
        self.names.append(Name(len(self.names) + 1, kind, name, parent))
        return len(self.names)

    def setting_number(self, station: Station) -> int:
        """The number in the trace of a station's setting; a new setting gets the next number."""
        return self._row(station.setting, station.lead, station.hold)

    def number_of(self, setting: Setting, station: Station, hold: int | None = None) -> int:
        """The number in the trace of a setting other than the station's own. `hold`: ns, None: as it is."""
        return self._row(setting, station.lead, station.hold if hold is None else hold)

    def _row(self, setting: Setting, lead: int, hold: int) -> int:
        key = setting, lead, hold
        number = self._setting_ids.get(key)
        if number is None:
            number = self._setting_ids[key] = len(self.settings) + 1
            row = SettingRow(number, setting.baud, setting.format, setting.ppm, setting.inverted, lead, hold)
            self.settings.append(row)
            self.told(row)
        return number

    def start(self) -> None:
        """Instant 0: start all parts."""
        for line in self.lines.values():
            for station in line.stations:
                station.setting_label = self.setting_number(station)
            line.start()
        for line, disturbance in self.disturbances:
            disturbance.start(self.kernel, line.pulse)
        for converter in self.converters.values():
            converter.start()
        for master in self.masters.values():
            master.start()
        for operator in self.operators:
            operator.start()
        self.faults.start()

    def cables(self) -> dict[int, dict[str, object]]:
        """How the pair of each line is laid, by its number in the trace."""
        return {line.number: line.laid() for line in self.lines.values()}

    def mark(self, text: str) -> None:
        """Set a mark in the trace, now."""
        self.emit((MARK, self.kernel.now, text))

    def finish(self) -> None:
        """End of the run at the kernel's now: write all held records."""
        for line in self.lines.values():
            line.finish()

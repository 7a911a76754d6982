"""Work on site during a run: a camera unplugged, its pair swapped, a cable cut, a port set, power switched, a unit
replaced.

Each is an input from outside at its instant: the trace has it, and replay repeats it. A camera that sets its own port
does so by itself; that is a change of the camera and no input.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from typing import Protocol

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.recording.trace import CHANGE, INPUT, Emit
from busim.simulator.bus import Line, Setting, Station, setting
from busim.simulator.kernel import Kernel
from busim.simulator.world.camera_hearing import Hearing
from busim.simulator.world.camera_ports import CameraPort
from busim.simulator.world.converter_ports import ConverterPort

DOWN = 8_000_000_000  # ns that a converter takes to restart


class Entity(Protocol):
    """An entity with a number in the trace."""

    @property
    def name(self) -> str: ...


class Switchboard(Protocol):
    """Switches faults on and off (`fault_board.FaultBoard`)."""

    def again(self, name: str, what: str, data: bytes) -> bool: ...


class Site(Protocol):
    """The parts of a world that site work needs. `names`: the entity with each number of the trace, from 1."""

    kernel: Kernel
    emit: Emit

    @property
    def names(self) -> Sequence[Entity]: ...

    @property
    def lines(self) -> Mapping[str, Line]: ...

    @property
    def cameras(self) -> Mapping[str, CameraPort]: ...

    @property
    def converters(self) -> Mapping[str, ConverterPort]: ...

    @property
    def faults(self) -> Switchboard: ...

    def setting_number(self, station: Station) -> int: ...


class Wiring:
    """Site work on one world. `stands`: per line its positions in order, None for one without a station."""

    def __init__(self, world: Site) -> None:
        self.stands: dict[str, list[Station | None]] = {}
        self._world = world

    def unplug(self, camera: str, *, through: bool = True) -> None:
        """Unplug a camera from its line, now. `through`: the pair still passes it. Raises UserError."""
        port, line = self._camera(camera)
        self._tell(port.number, "unplug", b"" if through else b"cuts")
        line.rewire().unplug(port.station, through=through)

    def plug(self, camera: str) -> None:
        """Plug it in again. Raises UserError."""
        port, line = self._camera(camera)
        self._tell(port.number, "plug")
        line.rewire().plug(port.station)

    def swap(self, camera: str, on: bool = True) -> None:
        """Swap the pair at a camera, or undo that; if it is sending, afterwards. Raises UserError."""
        port, line = self._camera(camera)
        self._tell(port.number, "swap" if on else "straight")
        old = port.station.setting
        self.retune(port, line, setting(old.baud, old.format, old.ppm, on))

    def cut(self, line: str, position: int) -> None:
        """Open the pair of a line before a position of its order (counted from 0). Raises UserError."""
        self._tell(self._position(line, position)[0], "cut", str(position).encode())
        self.open_pair(line, position)

    def open_pair(self, line: str, position: int) -> None:
        """The pair opens by itself. Raises UserError."""
        self._world.lines[line].rewire().cut(self._position(line, position)[1])

    def join(self, line: str, position: int) -> None:
        """Close it again. Raises UserError."""
        self._tell(self._position(line, position)[0], "join", str(position).encode())
        self.close_pair(line, position)

    def close_pair(self, line: str, position: int) -> None:
        """The pair closes by itself. Raises UserError."""
        self._world.lines[line].rewire().join(self._position(line, position)[1])

    def dial(self, camera: str, baud: Fraction, format: CharFormat) -> None:
        """Set the port of a camera by its switches; if it is sending, afterwards. Raises UserError."""
        port, _ = self._camera(camera)
        self._tell(port.number, "dial", f"{baud} {format}".encode())
        self.set_port(camera, baud, format)

    def power(self, camera: str, on: bool) -> None:
        """Switch the power of a camera on or off, now. Raises UserError."""
        port, _ = self._camera(camera)
        self._tell(port.number, "power" if on else "no power")
        port.power(on, self._world.kernel.now)

    def reboot(self, name: str, down: int = DOWN) -> None:
        """Boot a camera, or a converter, which is then absent for `down` ns. Raises UserError."""
        converter = self._world.converters.get(name)
        if converter is None:
            port, _ = self._camera(name)
            self._tell(port.number, "reboot")
            port.restart()
            return
        self._tell(converter.number, "reboot", str(down).encode())
        converter.reboot(down)

    def fit(self, camera: str, bus_id: int, serial: int) -> None:
        """Replace a camera by another unit of the same model, with its bus ID and serial number as delivered.

        It has the baud and format that its model leaves the factory with, and no power yet. Raises UserError.
        """
        port, _ = self._camera(camera)
        self._tell(port.number, "unit", f"{bus_id} {serial}".encode())
        port.fit(bus_id, serial)
        bus = port.camera.model.bus
        self.set_port(camera, bus.factory_baud, bus.factory_format)

    def set_port(self, camera: str, baud: Fraction, format: CharFormat) -> None:
        """A camera sets its port; if it is sending, afterwards. Raises UserError."""
        port, line = self._camera(camera)
        old = port.station.setting
        if (old.baud, old.format) == (baud, format):
            return
        self.retune(port, line, setting(baud, format, old.ppm, old.inverted))

    def again(self, number: int, what: str, data: bytes) -> bool:
        """Repeat an input of a trace. Returns whether it was site work. Raises UserError."""
        action = _REPEATED.get(what)
        if not 0 < number <= len(self._world.names):
            return False
        name = self._world.names[number - 1].name
        if action is None:
            return self._world.faults.again(name, what, data)
        action(self, name, data)
        return True

    def _tell(self, number: int, what: str, data: bytes = b"") -> None:
        self._world.emit((INPUT, self._world.kernel.now, number, 0, what, data))

    def _camera(self, name: str) -> tuple[CameraPort, Line]:
        port = self._world.cameras.get(name)
        if port is None:
            raise UserError(
                "no such camera in this installation", found=repr(name[:60]),
                expected=" or ".join(map(repr, self._world.cameras))[:300] or "none: it has no cameras",
                mend="name one that is present",
            )  # fmt: skip
        line = next(line for line in self._world.lines.values() if port.station in line.stations)
        return port, line

    def _position(self, line: str, position: int) -> tuple[int, int]:
        """The line's number in the trace, and that of the first station behind the cut."""
        stands = self.stands.get(line)
        if stands is None or not 0 <= position <= len(stands):
            raise UserError(
                "no such place to cut a line", found=f"{line[:60]!r}, position {position}",
                expected="a line of the plan, and 0 to the number of its positions", mend="see the order of the line",
            )  # fmt: skip
        ahead = [station for station in stands[:position] if station is not None]
        return self._world.lines[line].number, len(ahead)

    def retune(self, port: CameraPort, line: Line, to: Setting) -> None:
        """Give a camera's port another setting; if it is sending, afterwards."""
        burst, now = port.station.burst, self._world.kernel.now
        over = now if burst is None else max(burst.off, burst.end)
        if over > now:
            self._world.kernel.at(over, lambda _: self.retune(port, line, to))
            return
        line.reset(port.station, to)
        group = port.station.group
        if group is not None and isinstance(group.listener, Hearing):
            group.listener.tune(to)
        port.station.setting_label = self._world.setting_number(port.station)
        swapped = ", swapped" if to.inverted else ""
        self._world.emit((CHANGE, now, port.number, "setting", f"{to.baud} Bd {to.format}{swapped}"))


def _dialled(data: bytes) -> tuple[Fraction, CharFormat]:
    try:
        baud, format = data.decode().split(" ")
        return Fraction(baud), CharFormat.parse(format)
    except (ValueError, ZeroDivisionError):
        raise UserError("no setting of a port", found=repr(data[:60]), expected="baud and format") from None


def _unit(data: bytes) -> tuple[int, int]:
    try:
        bus_id, serial = data.decode().split(" ")
        return int(bus_id), int(serial)
    except ValueError:
        raise UserError("no camera unit", found=repr(data[:60]), expected="bus ID and serial number") from None


_REPEATED: dict[str, Callable[[Wiring, str, bytes], None]] = {
    "unplug": lambda wiring, name, data: wiring.unplug(name, through=not data),
    "plug": lambda wiring, name, _: wiring.plug(name),
    "swap": lambda wiring, name, _: wiring.swap(name),
    "straight": lambda wiring, name, _: wiring.swap(name, False),
    "cut": lambda wiring, name, data: wiring.cut(name, int(data) if data.isdigit() else -1),
    "dial": lambda wiring, name, data: wiring.dial(name, *_dialled(data)),
    "power": lambda wiring, name, _: wiring.power(name, True),
    "no power": lambda wiring, name, _: wiring.power(name, False),
    "reboot": lambda wiring, name, data: wiring.reboot(name, int(data) if data.isdigit() else DOWN),
    "unit": lambda wiring, name, data: wiring.fit(name, *_unit(data)),
    "join": lambda wiring, name, data: wiring.join(name, int(data) if data.isdigit() else -1),
}

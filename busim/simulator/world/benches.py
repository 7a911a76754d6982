"""The benches for faults, made from the live parts of a world.

Hook points are made when the first fault needs one, and kept: several faults may cover one place. A world in which no
fault was ever on has none.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Protocol

from busim.foundation.errors import UserError
from busim.protocols import BusProtocol
from busim.recording.trace import BURST, EFFECT, Emit, Record
from busim.simulator.bus import Line, Setting, Station
from busim.simulator.fault_hooks import HookPoint, Remove
from busim.simulator.faults.benches import Change
from busim.simulator.kernel import Chance, Kernel, Stream
from busim.simulator.world.camera_ports import CameraPort
from busim.simulator.world.converter_ports import ConverterPort

Told = Callable[[], None]


class WiringChanges(Protocol):
    """Changes of the wiring that are no input from outside (`site_actions.Wiring`)."""

    stands: dict[str, list[Station | None]]

    def open_pair(self, line: str, position: int) -> None: ...

    def close_pair(self, line: str, position: int) -> None: ...

    def retune(self, port: CameraPort, line: Line, to: Setting) -> None: ...


class Named(Protocol):
    """An entity of the trace."""

    @property
    def name(self) -> str: ...


class FaultSite(Protocol):
    """The parts of a world that its faults need."""

    kernel: Kernel
    chance: Chance
    emit: Emit
    lines: dict[str, Line]
    cameras: dict[str, CameraPort]
    converters: dict[str, ConverterPort]
    protocols: dict[str, BusProtocol]

    @property
    def names(self) -> Sequence[Named]: ...

    @property
    def wiring(self) -> WiringChanges: ...

    def setting_number(self, station: Station) -> int: ...


class _BurstWatch:
    """Stands where bursts are reported, and reports them to one fault."""

    inner: Emit

    def __init__(self, label: int, told: Callable[[bool], None]) -> None:
        self._label = label
        self._told = told

    def __call__(self, record: Record) -> None:
        self.inner(record)
        if record[0] == BURST:
            self._told(record[2] == self._label)


class Tuning:
    """The setting of one station's port, with all changes by faults."""

    def __init__(self, station: Station, set_to: Callable[[Setting], None]) -> None:
        self._station = station
        self._set_to = set_to
        self._base = station.setting
        self._changes: list[Change] = []

    def cover(self, change: Change) -> Remove:
        if not self._changes:
            self._base = self._station.setting
        self._changes.append(change)
        self._apply()

        def remove() -> None:
            self._changes.remove(change)
            self._apply()

        return remove

    def _apply(self) -> None:
        to = self._base
        for change in self._changes:
            to = change(to)
        self._set_to(to)


class Places:
    """The hook points of a world so far, each made at its first use."""

    def __init__(self, world: FaultSite) -> None:
        self.world = world
        self._points: dict[tuple[str, str], Any] = {}

    def point(self, name: str, what: str, owner: Any, attribute: str) -> Any:
        """The hook point at this attribute of a live part."""
        key = name, what
        if key not in self._points:
            self._points[key] = HookPoint(getattr(owner, attribute), lambda value: setattr(owner, attribute, value))
        return self._points[key]

    def tuning(self, name: str, station: Station, set_to: Callable[[Setting], None]) -> Tuning:
        key = name, "port"
        if key not in self._points:
            self._points[key] = Tuning(station, set_to)
        tuning: Tuning = self._points[key]
        return tuning

    def edges(self, name: str, station: Station) -> tuple[int, int, bool]:
        """Lead, hold and echo as the plan has them."""
        found: tuple[int, int, bool] = self._points.setdefault(
            (name, "edges"), (station.lead, station.hold, station.echo)
        )
        return found


class _Bench:
    def __init__(self, places: Places, fault: str, name: str, number: int, told: Told) -> None:
        self.places = places
        self.kernel: Kernel = places.world.kernel
        self.name = name
        self.stream: Stream = places.world.chance.stream("fault", fault, name)
        self._fault = fault
        self.number = number
        self._told = told

    def effect(self, text: str = "") -> None:
        self._told()
        self.places.world.emit((EFFECT, self.kernel.now, self.number, self._fault, text))

    def happens(self, share: float) -> bool:
        return share >= 1 or (share > 0 and self.stream.random() < share)


class _StationBench(_Bench):
    line: Line
    station: Station

    def edges(self, lead: int, hold: int) -> None:
        self.own_edges()
        self.line.set_driver(self.station, lead=lead, hold=hold, echo=self.station.echo)
        self.station.setting_label = self.places.world.setting_number(self.station)

    def own_edges(self) -> tuple[int, int]:
        return self.places.edges(self.name, self.station)[:2]

    def echo(self, on: bool) -> None:
        self.own_edges()
        self.line.set_driver(self.station, lead=self.station.lead, hold=self.station.hold, echo=on)

    def bursts(self, told: Callable[[bool], None]) -> Remove:
        tells: HookPoint[Emit] = self.places.point(f"line {self.line.number}", "bursts", self.line, "tells")
        return tells.cover(_BurstWatch(self.station.label, told))

    def retune(self, change: Change) -> Remove:
        return self.places.tuning(self.name, self.station, self._set_to).cover(change)

    def _set_to(self, to: Setting) -> None:
        raise NotImplementedError


class CameraAt(_StationBench):
    """A CameraBench."""

    def __init__(self, places: Places, fault: str, name: str, told: Told) -> None:
        self._port: CameraPort = places.world.cameras[name]
        super().__init__(places, fault, name, self._port.number, told)
        self.station = self._port.station
        self.line = next(line for line in places.world.lines.values() if self.station in line.stations)
        self.protocol = next(
            protocol for line, protocol in places.world.protocols.items() if places.world.lines[line] is self.line
        )
        self.reply = places.point(name, "reply", self._port, "reply")
        self.request = places.point(name, "request", self._port, "asked")

    @property
    def bus_id(self) -> int:
        return self._port.camera.bus_id

    def id_of(self, camera: str) -> int:
        on_line = [port for port in self.places.world.cameras.values() if port.station in self.line.stations]
        if not camera:
            others = sorted(
                {port.camera.bus_id for port in on_line} - {self.bus_id},
                key=lambda bus_id: (bus_id < self.bus_id, bus_id),
            )
            return others[0] if others else self.bus_id
        port = self.places.world.cameras.get(camera)
        if port is None or port not in on_line:
            raise UserError(
                "no such camera on the line of this one", found=repr(camera[:60]),
                expected="a camera on the same line", mend="name one of that line",
            )  # fmt: skip
        return port.camera.bus_id

    def listen_to(self, ids: tuple[int, ...] | None) -> None:
        self._port.listen_to(ids)

    def send(self, raw: bytes, at: int) -> None:
        self._port.send(raw, at)

    def seize(self) -> None:
        self._port.seize(True)

    def release(self) -> None:
        self._port.seize(False)

    def power(self, on: bool) -> None:
        self._port.power(on, self.kernel.now)

    def restart(self) -> None:
        self._port.restart()

    def factory_reset(self) -> None:
        camera, powered = self._port.camera, self._port.powered
        self._port.fit(camera.model.bus.factory_id, camera.serial)
        if powered:
            self._port.power(True, self.kernel.now)

    def forget_saves(self, instead: Callable[[], None] | None) -> None:
        self._port.forget_saves(instead)

    def _set_to(self, to: Setting) -> None:
        self.places.world.wiring.retune(self._port, self.line, to)


class ConverterAt(_StationBench):
    """A ConverterBench."""

    def __init__(self, places: Places, fault: str, name: str, told: Told) -> None:
        port = self._port = places.world.converters[name]
        super().__init__(places, fault, name, port.number, told)
        self.line, self.station = next(
            (line, station)
            for line in places.world.lines.values()
            for station in line.stations
            if station.label == port.number
        )
        self.protocol = next(
            protocol for line, protocol in places.world.protocols.items() if places.world.lines[line] is self.line
        )
        self.to_line = places.point(name, "to line", port, "to_line")
        self.to_net = places.point(name, "to net", port.clients, "to_net")
        self.down = places.point(name, "down", port, "down")
        self.up = places.point(name, "up", port.clients, "up")
        self.slots = places.point(name, "slots", port.clients, "slots")

    def restart(self, down: int) -> None:
        self._port.reboot(down)

    def put_up(self, data: bytes) -> None:
        self._port.clients.send(data, self.kernel.now)

    def hang_up(self, *, reset: bool) -> int:
        return self._port.clients.hang_up(reset=reset)

    def _set_to(self, to: Setting) -> None:
        self._port.retune(to)


class LineAt(_Bench):
    """A LineBench."""

    def __init__(self, places: Places, fault: str, name: str, told: Told) -> None:
        self.line = places.world.lines[name]
        super().__init__(places, fault, name, self.line.number, told)
        stations = self.line.stations
        self.bit = round(1e9 / stations[0].setting.baud) if stations else 0
        self.metres = max((station.metres for station in stations), default=0.0)
        self.positions = len(places.world.wiring.stands[name])
        self._biased = self.line.biased

    def pulse(self, length: int, *, floating: bool = False) -> None:
        self.line.pulse(length, floating)

    def bias(self, on: bool) -> None:
        self.line.biased = on and self._biased

    def cut(self, position: int) -> None:
        self.places.world.wiring.open_pair(self.name, position)

    def join(self, position: int) -> None:
        self.places.world.wiring.close_pair(self.name, position)

    def bursts(self, told: Callable[[bool], None]) -> Remove:
        tells: HookPoint[Emit] = self.places.point(f"line {self.line.number}", "bursts", self.line, "tells")
        return tells.cover(_BurstWatch(0, told))


def bench_for(places: Places, on: str, fault: str, name: str, told: Told) -> CameraAt | ConverterAt | LineAt:
    """A bench of the kind `on` (camera, converter, line) for a fault at a place."""
    if on == "camera":
        return CameraAt(places, fault, name, told)
    return ConverterAt(places, fault, name, told) if on == "converter" else LineAt(places, fault, name, told)


def places_of(world: FaultSite, on: str) -> tuple[str, ...]:
    """The names of all places for a fault of this kind."""
    if on == "camera":
        return tuple(world.cameras)
    return tuple(world.converters) if on == "converter" else tuple(world.lines)


__all__ = ["CameraAt", "ConverterAt", "FaultSite", "LineAt", "Places", "bench_for", "places_of"]

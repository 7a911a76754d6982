"""The benches that faults are put in at, made from the live parts of a world."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any

from busim.foundation.errors import UserError
from busim.protocols import Request
from busim.recording.trace import EFFECT, Emit
from busim.simulator.bus import Line, Setting, Station, setting
from busim.simulator.fault_hooks import Admission, HookPoint, Remove
from busim.simulator.faults.benches import CameraBench, Change
from busim.simulator.kernel import Kernel, Stream
from busim.simulator.world.bench_places import ArrivalWatch, BurstWatch, FaultSite, Places
from busim.simulator.world.camera_ports import CameraPort

Told = Callable[[], None]


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
        return tells.cover(BurstWatch(self.station.label, told))

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

    @property
    def asked_at(self) -> int:
        return self._port.last_asked

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

    def spoiled(self, told: Callable[[int], None]) -> Remove:
        return _listed(self._port.spoiled, told)

    def booted(self, told: Callable[[], None]) -> Remove:
        return _listed(self._port.booted, told)

    def acknowledge(self, request: Request, at: int) -> None:
        self._port.acknowledge(request, at)

    def carry_out(self, request: Request) -> None:
        self._port.carry_out(request, self.kernel.now)

    def read_serial(self, change: Callable[[int], int] | None) -> None:
        self._port.camera.read_serial(change)

    def neighbours(self, reach: int) -> tuple[CameraBench, ...]:
        along = _along(self.places, self.line)
        here = along.index(self.name)
        near = [(abs(number - here), name) for number, name in enumerate(along) if 0 < abs(number - here) <= reach]
        return tuple(CameraAt(self.places, self._fault, name, self._told) for _, name in sorted(near))

    def hold_mark(self, on: bool) -> None:
        if not on:
            self.line.end_break(self.station)
            return
        own = self.station.setting  # a break of a swapped driver is mark
        swapped = setting(own.baud, own.format, own.ppm, not own.inverted)
        self.line.begin_break(self.station, swapped, self.places.world.number_of(swapped, self.station))

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

    def put_up(self, data: bytes, client: int | None = None) -> None:
        if client is None:
            self._port.clients.send(data, self.kernel.now)
        else:
            self._port.clients.answer(client, data)

    def put_down(self, data: bytes, client: int) -> None:
        self._port.take(data, client)

    def arrivals(self, told: Callable[[int], None]) -> Remove:
        slots: HookPoint[Admission] = self.slots
        return slots.cover(ArrivalWatch(told))

    def port_control(self, manner: str, delay: int, told: Callable[[], None]) -> Remove:
        return self._port.control.cover(manner, delay, told)

    def stall_masters(self, until: int) -> int:
        behind = [one for one in self.places.world.masters.values() if one.behind is self._port]
        for master in behind:
            master.stall(until)
        return len(behind)

    def unplug(self, away: int, *, renamed: bool) -> None:
        self._port.clients.unplugged = "renamed" if renamed else "same"
        self._port.reboot(away)

    def reset_cameras(self) -> None:
        for port in self.places.world.cameras.values():
            if port.station in self.line.stations:
                port.restart()

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
        return tells.cover(BurstWatch(0, told))

    @cached_property
    def cameras(self) -> tuple[CameraBench, ...]:
        along = _along(self.places, self.line)
        return tuple(CameraAt(self.places, self._fault, name, self._told) for name in along)

    def driving(self) -> tuple[float, bool] | None:
        found = self.line.driving(self.bit)
        return None if found is None else (found[0].metres, found[1])


def _along(places: Places, line: Line) -> list[str]:
    """The cameras of a line in the order of the pair."""
    stations = [one for one in line.stations if one.name in places.world.cameras]
    return [one.name for one in sorted(stations, key=lambda one: (one.metres, one.number))]


def _listed(told_of: list[Any], told: Any) -> Remove:
    """Add to a list of those who are told, until it is taken out."""
    told_of.append(told)
    return lambda: told_of.remove(told)


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

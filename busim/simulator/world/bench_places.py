"""What benches of faults stand on: the hook points of a world, and who watches its bursts and its clients.

Hook points are made when the first fault needs one, and kept: several faults may cover one place. A world in which no
fault was ever on has none.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Protocol

from busim.protocols import BusProtocol
from busim.recording.trace import BURST, Emit, Record
from busim.simulator.bus import Line, Setting, Station
from busim.simulator.converters import Arrival
from busim.simulator.fault_hooks import Admission, HookPoint, Remove
from busim.simulator.faults.benches import Change
from busim.simulator.kernel import Chance, Kernel
from busim.simulator.world.camera_ports import CameraPort
from busim.simulator.world.converter_ports import ConverterPort


class WiringChanges(Protocol):
    """Changes of the wiring that are no input from outside (`site_actions.Wiring`)."""

    stands: dict[str, list[Station | None]]

    def open_pair(self, line: str, position: int) -> None: ...

    def close_pair(self, line: str, position: int) -> None: ...

    def retune(self, port: CameraPort, line: Line, to: Setting) -> None: ...


class MasterAt(Protocol):
    """A played master on one of its lines."""

    @property
    def behind(self) -> object: ...

    def stall(self, until: int) -> None: ...

    def listen_closely(self) -> None: ...


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
    def masters(self) -> Mapping[tuple[str, str], MasterAt]: ...

    @property
    def wiring(self) -> WiringChanges: ...

    def setting_number(self, station: Station) -> int: ...

    def number_of(self, setting: Setting, station: Station, hold: int | None = None) -> int: ...


class BurstWatch:
    """Stands where bursts are reported, and reports them to one fault."""

    inner: Emit

    def __init__(self, label: int, told: Callable[[bool], None]) -> None:
        self._label = label
        self._told = told

    def __call__(self, record: Record) -> None:
        self.inner(record)
        if record[0] == BURST:
            self._told(record[2] == self._label)


class ArrivalWatch:
    """Stands where clients are let in, and tells one fault of them."""

    inner: Admission

    def __init__(self, told: Callable[[int], None]) -> None:
        self._told = told

    def stay(self, client: int) -> None:
        self.inner.stay(client)

    def arrive(self, client: int, now: int) -> Arrival:
        arrival = self.inner.arrive(client, now)
        if arrival.served:
            self._told(client)
        return arrival

    def leave(self, client: int, now: int, *, ended: bool) -> int | None:
        return self.inner.leave(client, now, ended=ended)


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

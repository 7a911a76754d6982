"""The parts that a fault may touch: a bench for each kind of place.

A fault sees its bench and nothing else of the world. Each bench belongs to one fault at one place, with its own random
stream (derived from the run's seed, the place and the fault) and its own count of effects.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from busim.protocols import BusProtocol, Request
from busim.simulator.bus import Line, Setting, Station
from busim.simulator.fault_hooks import Admission, CameraReply, CameraRequest, Crossing, HookPoint, Passage, Remove
from busim.simulator.kernel import Kernel, Stream

Change = Callable[[Setting], Setting]


class Bench(Protocol):
    """The common part: time, chance, and a record of each effect of the fault."""

    kernel: Kernel
    stream: Stream
    name: str

    def effect(self, text: str = "") -> None:
        """The fault takes effect now."""

    def happens(self, share: float) -> bool:
        """Draw whether it takes effect this time. A share of 1 draws nothing."""


class StationBench(Bench, Protocol):
    """A part with a driver and a receiver on a line."""

    line: Line
    station: Station

    def edges(self, lead: int, hold: int) -> None:
        """From its next burst on the driver is enabled `lead` ns before, and released `hold` ns after the last bit."""

    def own_edges(self) -> tuple[int, int]:
        """`lead` and `hold` as the plan has them."""

    def echo(self, on: bool) -> None:
        """Whether it hears its own characters, from now on."""

    def retune(self, change: Change) -> Remove:
        """Change the setting of its port as soon as it is not sending. Returns the function that restores it."""

    def bursts(self, told: Callable[[bool], None]) -> Remove:
        """Receive each burst of its line at its end, with whether it was this station's own."""


class CameraBench(StationBench, Protocol):
    """A camera. `reply` and `request`: the hook points on either side of it."""

    protocol: BusProtocol
    reply: HookPoint[CameraReply]
    request: HookPoint[CameraRequest]

    @property
    def bus_id(self) -> int:
        """Its bus ID now."""

    def id_of(self, camera: str) -> int:
        """The bus ID of another camera on its line; of the next one if `camera` is empty."""

    def listen_to(self, ids: tuple[int, ...] | None) -> None:
        """The bus IDs whose requests it takes; None: its own."""

    def send(self, raw: bytes, at: int) -> None:
        """Send these bytes at `at` ns, if it still has power then."""

    @property
    def asked_at(self) -> int:
        """When the last request was complete, ns. The present may be later by the propagation delay."""

    def seize(self) -> None:
        """Take the driver from the camera; its planned bytes are lost."""

    def release(self) -> None:
        """Give the driver back."""

    def power(self, on: bool) -> None:
        """Switch its power on or off."""

    def restart(self) -> None:
        """It boots."""

    def factory_reset(self) -> None:
        """Restore its factory state, and boot it."""

    def forget_saves(self, instead: Callable[[], None] | None) -> None:
        """From now on a save is acknowledged and keeps nothing; `instead` is called each time.
        None: saves keep again.
        """

    def spoiled(self, told: Callable[[int], None]) -> Remove:
        """Call `told` with the instant (ns) of each frame that reaches it damaged."""

    def booted(self, told: Callable[[], None]) -> Remove:
        """Call `told` each time that it has booted."""

    def acknowledge(self, request: Request, at: int) -> None:
        """Answer a request that was complete at `at` ns as if it had been carried out."""

    def carry_out(self, request: Request) -> None:
        """Carry out a request and answer nothing."""

    def read_serial(self, change: Callable[[int], int] | None) -> None:
        """Searches and assignments see `change` of its serial number; None: the number itself."""

    def neighbours(self, reach: int) -> tuple[CameraBench, ...]:
        """The cameras up to `reach` positions away along the line, the nearest first, with this fault's count."""

    def hold_mark(self, on: bool) -> None:
        """Its driver, seized before, drives mark from now on, or lets go."""


class ConverterBench(StationBench, Protocol):
    """A converter. `to_line` and `to_net`: how long a passage takes; `down` and `up`: the bytes on it; `slots`: the
    clients admitted.
    """

    protocol: BusProtocol
    to_line: HookPoint[Crossing]
    to_net: HookPoint[Crossing]
    down: HookPoint[Passage]
    up: HookPoint[Passage]
    slots: HookPoint[Admission]

    def restart(self, down: int) -> None:
        """It restarts and is absent for `down` ns."""

    def put_up(self, data: bytes, client: int | None = None) -> None:
        """Send these bytes to all clients, as if they came from the line now; or to one client."""

    def put_down(self, data: bytes, client: int) -> None:
        """A client of this number, which nobody sees, hands these bytes to the converter."""

    def arrivals(self, told: Callable[[int], None]) -> Remove:
        """Call `told` with the number of each client that is let in."""

    def port_control(self, manner: str, delay: int, told: Callable[[], None]) -> Remove:
        """Answer COM port control in this manner (as `rfc2217` of a plan) after `delay` ns; `told` hears each time.
        A converter without COM port control stays without it.
        """

    def stall_masters(self, until: int) -> int:
        """The played masters behind it do nothing up to `until` ns; how many they are."""

    def unplug(self, away: int, *, renamed: bool) -> None:
        """It is not there for `away` ns; `renamed`: a local port has another device afterwards."""

    def reset_cameras(self) -> None:
        """Every camera on its line boots."""

    def hang_up(self, *, reset: bool) -> int:
        """End the connections of all clients from outside. Returns their number."""


class LineBench(Bench, Protocol):
    """A pair. `bit`: ns of a bit as planned; `metres`: its length; `positions`: places in its order."""

    line: Line
    bit: int
    metres: float
    positions: int

    def pulse(self, length: int, *, floating: bool = False) -> None:
        """Invert the level for `length` ns from now; `floating`: pull the pair to space while nobody drives."""

    def bias(self, on: bool) -> None:
        """Take its bias away, or give it back."""

    def cut(self, position: int) -> None:
        """Open the pair before a position of its order."""

    def join(self, position: int) -> None:
        """Close it again."""

    def bursts(self, told: Callable[[bool], None]) -> Remove:
        """Receive each burst at its end."""

    @property
    def cameras(self) -> tuple[CameraBench, ...]:
        """The cameras of the line in the order of the pair, each with this fault's chance and count."""

    def driving(self) -> tuple[float, bool] | None:
        """Who drives the pair now: metres from its begin, and whether an edge lies within a bit. None: nobody."""

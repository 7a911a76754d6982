"""What a fault may lay hands on: a bench for each kind of thing that a fault is switched on at.

A fault sees its bench and no more of the world. Each bench belongs to one fault at one place, and so do its random
stream (derived from the run's seed, the place and the fault) and its count of effects.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from busim.protocols import BusProtocol
from busim.simulator.bus import Line, Setting, Station
from busim.simulator.fault_hooks import Admission, CameraReply, CameraRequest, Crossing, HookPoint, Passage, Remove
from busim.simulator.kernel import Kernel, Stream

Change = Callable[[Setting], Setting]


class Bench(Protocol):
    """What all have: time, chance of its own, and a record of each time that the fault took effect."""

    kernel: Kernel
    stream: Stream
    name: str

    def effect(self, text: str = "") -> None:
        """It took effect now."""

    def happens(self, share: float) -> bool:
        """Draw whether it takes effect this time. A share of 1 draws nothing."""


class StationBench(Bench, Protocol):
    """Something with a driver and a receiver on a line."""

    line: Line
    station: Station

    def edges(self, lead: int, hold: int) -> None:
        """From its next burst on: the driver is enabled `lead` ns ahead, and released `hold` ns after the last bit."""

    def own_edges(self) -> tuple[int, int]:
        """`lead` and `hold` as the plan has them."""

    def echo(self, on: bool) -> None:
        """Whether it hears what it sends, from now on."""

    def retune(self, change: Change) -> Remove:
        """Set its port otherwise, as soon as it does not send; what takes it out sets it back."""

    def bursts(self, told: Callable[[bool], None]) -> Remove:
        """Hear of each burst of its line when it is over: whether it was this station's own."""


class CameraBench(StationBench, Protocol):
    """A camera. `reply` and `request`: the hook points on either side of it."""

    protocol: BusProtocol
    reply: HookPoint[CameraReply]
    request: HookPoint[CameraRequest]

    @property
    def id(self) -> int:
        """Its bus ID now."""

    def id_of(self, camera: str) -> int:
        """The bus ID of another camera on its line; of the next one where `camera` is empty."""

    def listen_to(self, ids: tuple[int, ...] | None) -> None:
        """Which bus IDs it takes requests for; None: its own."""

    def send(self, raw: bytes, at: int) -> None:
        """Its driver sends these bytes at `at` ns, if it still has power then."""

    def seize(self) -> None:
        """The driver no longer does as the camera says; what the camera has planned to send is lost."""

    def release(self) -> None:
        """It does again."""

    def power(self, on: bool) -> None:
        """Give it power, or take it away."""

    def restart(self) -> None:
        """It boots."""

    def factory_reset(self) -> None:
        """It is as it came out of its box, and boots."""

    def forget_saves(self, instead: Callable[[], None] | None) -> None:
        """A save is acknowledged and keeps nothing; `instead` is called for each. None: saves keep again."""


class ConverterBench(StationBench, Protocol):
    """A converter. `to_line` and `to_net`: how long a passage takes; `down` and `up`: the bytes on it; `slots`: who is
    let in."""

    protocol: BusProtocol
    to_line: HookPoint[Crossing]
    to_net: HookPoint[Crossing]
    down: HookPoint[Passage]
    up: HookPoint[Passage]
    slots: HookPoint[Admission]

    def restart(self, down: int) -> None:
        """It starts anew and is not there for `down` ns."""

    def put_up(self, data: bytes) -> None:
        """These bytes go to all clients, as if they came from the line now."""

    def hang_up(self, *, reset: bool) -> int:
        """End the connections of all clients from outside; how many there were."""


class LineBench(Bench, Protocol):
    """A pair. `bit`: ns of a bit as the line is planned; `metres`: its length; `positions`: places in its order."""

    line: Line
    bit: int
    metres: float
    positions: int

    def pulse(self, length: int, *, floating: bool = False) -> None:
        """Turn the level over for `length` ns from now; `floating`: pull it to space while nobody drives."""

    def bias(self, on: bool) -> None:
        """Take its bias away, or give it back."""

    def cut(self, position: int) -> None:
        """Open the pair ahead of a position of its order."""

    def join(self, position: int) -> None:
        """Close it again."""

    def bursts(self, told: Callable[[bool], None]) -> Remove:
        """Hear of each burst when it is over."""

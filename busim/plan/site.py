"""The site around the bus in a plan: places, cables, power, supplies, spares, and silenced rules.

A simulated run needs none of it; checks, rehearsals and run sheets do. None means that the plan has no value. For a
camera the model then has it, and the caller looks it up (a plan knows no models).

Caution: supplies in a plan serve to find mistakes on paper. The local code and a licensed electrician decide fuses,
cable sizes and mains, not a plan that reads well.

Lengths are metres, voltages V, currents A, power W, resistance ohm, capacitance F (all float), gauges AWG numbers
(float, as a cross-section in mm2 falls between two).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from busim.foundation.units import Range, Spread

Conductor = Literal["solid", "stranded", "flexible"]  # how a wire is made; `physics.electric` has the ohms of each


@dataclass(frozen=True, slots=True)
class PlacePlan:
    """A place of the site. `at`: x and y in metres from one fixed point of the site."""

    name: str
    at: tuple[float, float] | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class PowerPlan:
    """The power of a station in W: at idle, at peak and at start-up. None: unknown."""

    idle: Range | None = None
    peak: Range | None = None
    start_up: Range | None = None


@dataclass(frozen=True, slots=True)
class CablePlan:
    """The cable of a line. `supply_gauge`: AWG of its supply pair, None: as the data pair.

    `conductor`: solid, stranded or flexible, of both pairs.
    """

    gauge: float = 24.0
    impedance: float = 120.0
    supply_gauge: float | None = None
    conductor: Conductor = "stranded"


@dataclass(frozen=True, slots=True)
class BiasPlan:
    """The bias that holds an undriven pair at idle: one network at each station in `at` (empty: place unknown).

    Each network has a pull-up and a pull-down of `ohms` (None: unknown) at `volts`.
    """

    at: tuple[str, ...] = ()
    ohms: float | None = None
    volts: float = 5.0


@dataclass(frozen=True, slots=True)
class FeedPlan:
    """The cable from a supply to its injection point."""

    length: float = 0.0
    gauge: float | None = None  # None: unknown
    conductor: Conductor = "stranded"


@dataclass(frozen=True, slots=True)
class SupplyPlan:
    """One source of power. `kind`: dc or poe.

    `limit`: highest power in W, None: unknown (with PoE: that of its class). `fuse`: A, for `fuse_reason`. `at`: the
    converter, camera or box where it is injected, None where it stands at what it feeds. `feeds`: names of the
    converters and cameras that it feeds, whichever way the plan says so.
    """

    name: str
    voltage: Range
    kind: str = "dc"
    poe_class: int | None = None
    limit: float | None = None
    fuse: float | None = None
    fuse_reason: str = ""
    place: str | None = None
    at: str | None = None
    feeds: tuple[str, ...] = ()
    cable: FeedPlan = FeedPlan()


@dataclass(frozen=True, slots=True)
class MeasuredPlan:
    """What was measured of a camera (`turnaround`) or converter (`packing`), ns; None: the other, or not measured.

    `reads`: number of reads timed; `on`: the day; `how`: the sign by which it was told apart.
    """

    turnaround: Spread | None
    packing: int | None
    reads: int
    on: str
    how: str


@dataclass(frozen=True, slots=True)
class SparePlan:
    """Units kept for a swap, `count` of a kind. `bus_id`: bus ID as delivered, None: the model's factory ID."""

    name: str
    model: str
    bus_id: int | None = None
    serial: int = 0
    count: int = 1
    place: str | None = None


@dataclass(frozen=True, slots=True)
class SilencedPlan:
    """A rule that is silenced for the entry named `at` (None: for the whole plan), with its `reason`."""

    rule: str
    at: str | None
    reason: str

"""Supplies for the rules: the loads of each, the cable to them, and the resulting voltages.

A supply is injected at a station. From there its power goes along the supply pair of the line in both directions, up to
its last load. Loads take the same power at any voltage (they have regulators), so there may be no solution at all. All
assumptions are on the safe side: the lowest voltage of the supply, the highest power of each load, copper at 75 C, all
loads starting at once.

Caution: this finds mistakes on paper. Fuses, cable sizes and mains are decided by the local code and a licensed
electrician.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from busim.installation import Installation, ResolvedCamera, ResolvedConverter, ResolvedSupply
from busim.physics.electric import WARM, Chain, Collapse, PoeClass, branches, loop, poe_class
from busim.plan import CameraPlan, ConverterPlan, LinePlan, Place, PowerPlan, SupplyPlan

STATES = {"idle": "at idle", "peak": "at peak", "start_up": "at start-up of all loads"}
_FEED_GAUGE = 18.0  # AWG of a cable from a supply without a gauge in the plan
CONVERTER_WATTS = 5.0  # of a converter without a power in the plan; common practice, no source


@dataclass(frozen=True, slots=True)
class Load:
    """A camera or converter on a supply. `watts` by state; None: unknown, counts as 0.

    `least` and `most`: range of its supply voltage, V; 0: not in its model. A converter without a power in the plan
    counts with 5 W.
    """

    field: str
    name: str
    watts: dict[str, float] | None
    least: float = 0.0
    most: float = 0.0

    def at(self, state: str) -> float:
        return self.watts[state] if self.watts else 0.0


@dataclass(frozen=True, slots=True)
class _Way:
    """Loads along the cable to one side of an injection, nearest first, with the ohms before each."""

    loads: tuple[Load, ...]
    loops: tuple[float, ...]
    gauges: tuple[float, ...]


@dataclass(frozen=True)
class Feed:
    """A supply and its loads. `astray`: loads without a known cable; they count as standing at the supply.

    `entries`: the stations at which it is injected; several for a box with several ports.
    """

    field: str
    supply: SupplyPlan
    loads: tuple[Load, ...]
    astray: tuple[Load, ...]
    ways: tuple[_Way, ...]
    entries: tuple[str, ...] = ()

    @property
    def volts(self) -> float:
        return self.supply.voltage.low

    @property
    def trunk(self) -> float:
        """Loop resistance from the supply to its injection point, ohm. A PoE class already includes its cable."""
        cable = self.supply.cable
        if self.supply.kind == "poe":
            return 0.0
        return loop(cable.gauge or _FEED_GAUGE, cable.length, WARM, cable.conductor)

    @property
    def thinnest(self) -> float | None:
        """The thinnest wire behind the supply's fuse, AWG; None without a cable in the plan."""
        gauges = [gauge for way in self.ways for gauge, ohms in zip(way.gauges, way.loops, strict=True) if ohms]
        if self.supply.cable.length and self.supply.cable.gauge is not None:
            gauges.append(self.supply.cable.gauge)
        return max(gauges, default=None)

    @property
    def classed(self) -> PoeClass | None:
        """Its PoE class, or None."""
        number = self.supply.poe_class
        return None if number is None else poe_class(number)

    @property
    def limit(self) -> float | None:
        """The highest power that it can give, W; None: unknown."""
        if self.supply.limit is None and self.classed is not None:
            return self.classed.source_watts
        return self.supply.limit

    def watts(self, state: str) -> float:
        """The power of all loads together, W, without cable loss."""
        return sum(load.at(state) for load in self.loads)

    @cached_property
    def solved(self) -> dict[str, tuple[Chain, ...] | Collapse]:
        """Voltages along each way, by state."""
        return {state: self._solve(state) for state in STATES if self.volts}

    def _solve(self, state: str) -> tuple[Chain, ...] | Collapse:
        chains = [(way.loops, [load.at(state) for load in way.loads]) for way in self.ways]
        return branches(self.volts, self.trunk, chains)

    def drawn(self, state: str) -> float | None:
        """Current from the supply, A; None without a solution."""
        found = self.solved.get(state)
        return None if found is None or isinstance(found, Collapse) else sum(chain.source_amperes for chain in found)

    def at_loads(self, state: str) -> dict[str, tuple[Load, float]]:
        """Name -> load and its voltage; empty without a solution."""
        found = self.solved.get(state)
        if found is None or isinstance(found, Collapse):
            return {}
        pairs = zip(self.ways, found, strict=True)
        return {load.name: (load, at) for way, chain in pairs for load, at in zip(way.loads, chain.volts, strict=True)}


def assumed(site: Installation, every: Sequence[Feed]) -> Iterator[str]:
    """Assumptions of the rules about supplies, for the last line of a check."""
    fed = {load.name for feed in every for load in feed.loads}
    silent = sum(1 for one in site.plan.converters if one.name in fed and one.power == PowerPlan())
    if silent:
        yield f"{CONVERTER_WATTS:g} W for {silent} of {len(site.converters)} converters: not written"
    if fed:
        yield "voltages: lowest of each supply, highest power of each load, copper at 75 C, all starting at once"


def feeds(site: Installation) -> tuple[Feed, ...]:
    """Every supply of the plan."""
    stands = {name: at for line in site.lines for name, at in _stations(line.line).items()}
    boxes: dict[str, list[str]] = {}
    for converter in site.plan.converters:
        if converter.box:
            boxes.setdefault(converter.box, []).append(converter.name)
    return tuple(_feed(supply, stands, boxes) for supply in site.supplies)


def feed_on(supply: ResolvedSupply, line: LinePlan) -> Feed:
    """The feed of a supply that is injected on this line, with its loads there."""
    return _feed(supply, _stations(line), {})


_Stands = dict[str, tuple[LinePlan, Place]]


def _stations(line: LinePlan) -> _Stands:
    """Name of each camera and converter of a line -> its place."""
    return {place.name: (line, place) for place in line.order if place.kind in ("camera", "converter")}


def _feed(one: ResolvedSupply, stands: _Stands, boxes: dict[str, list[str]]) -> Feed:
    supply = one.supply
    loads = {station.name: _load(station) for station in one.feeds}
    entries = boxes.get(supply.at or "", [supply.at] if supply.at else [])
    ways: list[_Way] = []
    left = dict(loads)
    if supply.at is None:
        ways.append(_Way(tuple(left.values()), (0.0,) * len(left), (0.0,) * len(left)))
        left = {}
    for entry in entries:
        if entry in stands:
            for way in _along(*stands[entry], left):
                ways.append(way)
                left = {name: load for name, load in left.items() if load not in way.loads}
    if left:
        ways.append(_Way(tuple(left.values()), (0.0,) * len(left), (0.0,) * len(left)))
    return Feed(one.field, supply, tuple(loads.values()), tuple(left.values()), tuple(ways), tuple(entries))


def _along(line: LinePlan, at: Place, loads: dict[str, Load]) -> Iterator[_Way]:
    """The ways from a station to the loads on its line: down the cable, itself included, and up the cable.

    A way ends where the supply pair is cut. A station that the pair goes past is no load of it, unless the supply is
    injected right there; then it feeds that station alone.
    """
    order = line.order
    start = order.index(at)
    alone = at.supply_pair == "past"
    for steps in (range(start, len(order)), range(start - 1, -1, -1)):
        found: list[Load] = []
        loops: list[float] = []
        gauges: list[float] = []
        ohms, thinnest, here = 0.0, 0.0, start
        for index in steps:
            if index != start and (alone or order[max(index, here)].supply_pair == "cut"):
                break
            metres = abs(order[index].metres - order[here].metres)
            # the cable between two positions belongs to the later one of them
            gauge = order[max(index, here)].gauge or line.cable.gauge
            gauge = line.cable.supply_gauge or gauge
            ohms += loop(gauge, metres, WARM, line.cable.conductor)
            thinnest = max(thinnest, gauge if metres else 0.0)
            here = index
            on_pair = index == start or order[index].supply_pair != "past"
            if on_pair and order[index].kind != "terminator" and order[index].name in loads:
                found.append(loads[order[index].name])
                loops.append(ohms)
                gauges.append(thinnest)
                ohms, thinnest = 0.0, 0.0
        if found:
            yield _Way(tuple(found), tuple(loops), tuple(gauges))


def pair_ends(line: LinePlan, entry: str, load: str) -> int | None:
    """Number in the order of the position at which the supply pair from `entry` ends before `load`.

    None if it does not end, or if the two are not on this line.
    """
    order = line.order
    at = {place.name: number for number, place in enumerate(order) if place.kind in ("camera", "converter")}
    if entry not in at or load not in at:
        return None
    start, end = at[entry], at[load]
    if order[start].supply_pair == "past":
        return start
    steps = range(start + 1, end + 1) if end > start else range(start, end, -1)
    cut = next((number for number in steps if order[number].supply_pair == "cut"), None)
    return end if cut is None and order[end].supply_pair == "past" else cut


def _load(one: ResolvedCamera | ResolvedConverter) -> Load:
    if isinstance(one, ResolvedConverter):
        return Load(one.field, one.name, _watts(one.converter, (CONVERTER_WATTS,) * 3))
    supply = one.known.supply if one.known else None
    said = (supply.idle, supply.peak, supply.start_up) if supply else (0.0, 0.0, 0.0)
    bounds = (supply.voltage.low, supply.voltage.high) if supply else (0.0, 0.0)
    return Load(one.field, one.name, _watts(one.camera, said), *bounds)


def _watts(station: CameraPlan | ConverterPlan, of_model: tuple[float, float, float]) -> dict[str, float] | None:
    """Power by state, W: from the plan, else from the model, else that of the previous state."""
    power = station.power
    found: dict[str, float] = {}
    last = 0.0
    for state, said, model in zip(STATES, (power.idle, power.peak, power.start_up), of_model, strict=True):
        last = said.high if said is not None else model or last
        found[state] = last
    return found if any(found.values()) else None

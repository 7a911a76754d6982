"""The cable of a line for the rules: its stations, its terminators, its bias.

Defaults are filled in here, once for all rules: a terminator without ohms has 120 ohm, the load of a camera comes from
its model, a bias without a place is where the first master reaches the line. Signals are computed for copper
at 20 C (a pair carries next to no current).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from busim.installation import DEFAULT, Installation, ResolvedCamera, ResolvedConverter, ResolvedLine, ResolvedPort
from busim.physics.electric import (
    IMPEDANCE,
    MOST_UNIT_LOADS,
    TERMINATORS,
    Bias,
    Hung,
    Stand,
    derivation_limit,
    loop,
    undriven,
)
from busim.plan import CameraPlan, ConverterPlan, LinePlan, Place

TERMINATOR_OHMS = IMPEDANCE  # the default


@dataclass(frozen=True, slots=True)
class Hanging:
    """A station on a line. `field`: path of its position; `entry`: of the camera, converter or master itself."""

    field: str
    entry: str
    place: Place
    station: CameraPlan | ConverterPlan | None  # None: a master on the line itself
    unit_load: float
    unpowered: str
    asks: bool
    fail_safe: bool

    @property
    def name(self) -> str:
        return self.place.name

    @property
    def in_chain(self) -> bool:
        """Whether the line goes through it. A station on a stub can be unplugged without opening the line."""
        return not self.place.stub


@dataclass(frozen=True, slots=True)
class Termination:
    """A terminator: a position of its own, or built into the station `built_in`, and then `field` is its switch."""

    field: str
    metres: float
    ohms: float
    capacitor: float | None
    built_in: str = ""  # name of the station


@dataclass(frozen=True)
class Wiring:
    """The cable of one line."""

    wire: ResolvedLine
    hanging: tuple[Hanging, ...]

    @property
    def line(self) -> LinePlan:
        return self.wire.line

    @property
    def length(self) -> float:
        """Length from the first position to the last, m."""
        return self.line.order[-1].metres if self.line.order else 0.0

    @property
    def name_field(self) -> str:
        """The field for a finding about the whole line."""
        return f"{self.wire.field}.name"

    @property
    def longest_cable(self) -> str:
        """The field for a finding about the length: the longest cable between two positions."""
        lengths = [here.metres - before.metres for before, here in self._cables()]
        return f"{self._at(lengths.index(max(lengths)) + 1)}.after" if lengths else self.name_field

    @property
    def loop_ohms(self) -> float:
        """Loop resistance of the whole cable, ohm."""
        return sum(self._loop(before, here) for before, here in self._cables())

    @property
    def unit_loads(self) -> float:
        return sum(one.unit_load for one in self.hanging)

    @property
    def unit_loads_fit(self) -> bool:
        return self.unit_loads <= MOST_UNIT_LOADS

    @property
    def thinnest(self) -> float:
        """The thinnest wire between two positions, AWG."""
        gauges = [here.gauge or self.line.cable.gauge for before, here in self._cables() if here.metres > before.metres]
        return max(gauges, default=self.line.cable.gauge)

    @cached_property
    def terminations(self) -> tuple[Termination, ...]:
        """Every terminator: separate ones in the order of the cable, then built-in ones."""
        own = (
            Termination(self._at(index), place.metres, place.ohms or TERMINATOR_OHMS, place.capacitor)
            for index, place in enumerate(self.line.order)
            if place.kind == "terminator"
        )
        built_in = (
            Termination(f"{one.entry}.terminator", one.place.metres, TERMINATOR_OHMS, None, one.name)
            for one in self.hanging
            if one.station is not None and one.station.terminator
        )
        return (*own, *built_in)

    def at_end(self, termination: Termination) -> bool:
        """Whether it is at an end of the cable; on a cable without lengths it counts as at an end."""
        return termination.metres in (0.0, self.length)

    @cached_property
    def superfluous(self) -> tuple[Termination, ...]:
        """Built-in terminators that are switched on in mid-line, or at an end that has another."""
        taken = {one.metres for one in self.terminations if not one.built_in}
        found = []
        for one in self.terminations:
            if one.built_in:
                if (self.length and one.metres in taken) or not self.at_end(one):
                    found.append(one)
                taken.add(one.metres)
        return tuple(found)

    @property
    def too_many_terminators(self) -> bool:
        return len(self.terminations) > TERMINATORS

    @cached_property
    def bias_places(self) -> dict[str, str]:
        """Name of each station with bias -> the field that says so; empty for a bias without a place."""
        found = {one.name: f"{one.entry}.bias" for one in self.hanging if one.station is not None and one.station.bias}
        if self.line.biased:
            for index, name in enumerate(self.line.bias.at):
                found.setdefault(name, f"{self.wire.field}.bias.at[{index}]")
        return found

    @property
    def biased(self) -> bool:
        return self.line.biased or bool(self.bias_places)

    @property
    def bias_field(self) -> str:
        """The field for a finding about the bias."""
        return f"{self.wire.field}.bias"

    @cached_property
    def hung(self) -> tuple[tuple[Hung, ...], tuple[float, ...]] | None:
        """The line as a network: the loads at each position, and the ohms between. None if the bias has no ohms."""
        ohms = self.line.bias.ohms
        if not self.biased or ohms is None:
            return None
        bias = Bias(self.line.bias.volts, ohms)
        places = set(self.bias_places) or {self._bias_stands()}
        loads = {one.place: one.unit_load for one in self.hanging}
        built_in = {one.built_in for one in self.terminations if one.built_in}
        found = []
        for place in self.line.order:
            ends = [TERMINATOR_OHMS] if place.kind != "terminator" and place.name in built_in else []
            if place.kind == "terminator" and place.capacitor is None:
                ends.append(place.ohms or TERMINATOR_OHMS)
            here = place.kind != "terminator" and place.name in places
            found.append(Hung((bias,) if here else (), tuple(ends), loads.get(place, 0.0)))
        return tuple(found), tuple(self._loop(before, here) for before, here in self._cables())

    @cached_property
    def undriven(self) -> tuple[tuple[Hanging, float], ...]:
        """Voltage at each station of the undriven line, V; empty if the bias has no ohms."""
        if self.hung is None:
            return ()
        at = dict(zip(self.line.order, undriven(*self.hung), strict=True))
        return tuple((one, at[one.place]) for one in self.hanging)

    @property
    def stands(self) -> list[Stand]:
        return [Stand(one.name, one.asks) for one in self.hanging]

    def _at(self, index: int) -> str:
        return f"{self.wire.field}.order[{index}]"

    def _bias_stands(self) -> str:
        askers = [one.name for one in self.hanging if one.asks]
        names = askers or [one.name for one in self.hanging]
        return names[0] if names else ""

    def _cables(self) -> Iterator[tuple[Place, Place]]:
        return zip(self.line.order, self.line.order[1:], strict=False)

    def _loop(self, before: Place, here: Place) -> float:
        cable = self.line.cable
        return loop(here.gauge or cable.gauge, max(here.metres - before.metres, 0.0), conductor=cable.conductor)


def wirings(site: Installation) -> tuple[Wiring, ...]:
    """The cable of each line."""
    return tuple(Wiring(line, tuple(_hanging(line))) for line in site.lines)


def _hanging(line: ResolvedLine) -> Iterator[Hanging]:
    asking = {asker.box.name for asker in line.askers if asker.box is not None}
    for station in line.stations:
        field, place, at = station.field, station.place, station.at
        if isinstance(at, ResolvedCamera):
            fail_safe = at.camera.driver.fail_safe
            yield Hanging(field, at.field, place, at.camera, at.unit_load, at.unpowered, False, fail_safe)
        elif isinstance(at, ResolvedConverter):
            converter = at.converter
            fail_safe = converter.driver.fail_safe
            asks = place.name in asking
            yield Hanging(field, at.field, place, converter, converter.unit_load, "passes", asks, fail_safe)
        elif isinstance(at, ResolvedPort):  # one adapter; what is behind it is not in the plan
            yield Hanging(field, at.field, place, None, 1.0, "passes", False, False)
        elif at is not None:
            yield Hanging(field, at.field, place, None, 1.0, "passes", True, at.master.driver.fail_safe)


def assumed(site: Installation, lines: Sequence[Wiring]) -> Iterator[str]:
    """Assumptions of the rules about cables, for the last line of a check."""
    by_default = [one for one in lines if site.origin(f"{one.wire.field}.cable.gauge").kind == DEFAULT]
    if by_default:
        gauge = f"wires of AWG {by_default[0].line.cable.gauge:g}"
        yield f"{gauge} for {len(by_default)} of {len(lines)} lines: not written, the default"
    unknown = sum(1 for one in lines if one.biased and one.hung is None)
    if unknown:
        yield f"a bias strong enough on {unknown} of {len(lines)} lines: its resistors are not written"


def listed(names: Sequence[str], most: int = 6) -> str:
    """Names for a message: `a, b and 3 more`."""
    shown = ", ".join(repr(name) for name in names[:most])
    return shown + (f" and {len(names) - most} more" if len(names) > most else "")


def tap_limit(wiring: Wiring, one: Hanging) -> tuple[float, int]:
    """Longest stub of a station by the limit of MODBUS for derivation cables, m, and number of stubs at its tap."""
    ports = sum(1 for other in wiring.hanging if other.place.stub and other.place.metres == one.place.metres)
    return derivation_limit(max(ports, 1)), ports

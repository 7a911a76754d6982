"""Lines of a plan for the sheet: positions in order, cables between them, voltages."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import count

from busim.analysis.check import Feed, Survey, Timed, Wiring, joined, same_voltage
from busim.commissioning.sheet.model import ASSUMED, COMPUTED, Cable, Card, Facts, LinePart, Stand, Value
from busim.commissioning.sheet.said import Said, baud, computed, gauge, metres, number, volts
from busim.commissioning.sheet.settings import card
from busim.foundation.units import show_time
from busim.installation import Asker
from busim.plan import CameraPlan, ConverterPlan, Place
from busim.recording.figures import QUANTITIES

_EXPECTED = ("poll_rate", "latency_max", "move_p95", "load", "headroom")  # figures shown first
_NO_VOLTS = "collapses"


def line_parts(survey: Survey, said: Said) -> tuple[LinePart, ...]:
    """Every line of the plan."""
    fed = _fed(survey)
    numbers = count(1)  # over the hall: two cables in one truss must not have one number
    return tuple(_part(survey, said, wiring, fed, numbers) for wiring in survey.wirings)


def _part(survey: Survey, said: Said, wiring: Wiring, fed: dict[str, Feed], numbers: Iterator[int]) -> LinePart:
    line, field = wiring.line, wiring.wire.field
    of_line: Facts = (
        ("baud", said.value(f"{field}.baud", baud(line.baud))),
        ("character format", said.value(f"{field}.format", line.format)),
    )
    cards: list[Card] = [card(said, one.field, one.converter, of_line) for one in wiring.wire.converters]
    return LinePart(
        line.name,
        tuple(_facts(survey, said, wiring)),
        tuple(_stands(survey, said, wiring, fed, numbers)),
        tuple(cards),
    )


# -- facts above the diagram ---------------------------------------------------------------------------------


def _facts(survey: Survey, said: Said, wiring: Wiring) -> Iterator[tuple[str, str | Value]]:
    line, field = wiring.line, wiring.wire.field
    yield "baud", said.value(f"{field}.baud", baud(line.baud))
    yield "character format", said.value(f"{field}.format", line.format)
    yield "protocol", line.protocol
    yield "bus pair", said.value(f"{field}.cable.gauge", gauge(line.cable.gauge))
    if line.cable.supply_gauge is not None:
        yield "supply pair", said.value(f"{field}.cable.supply_gauge", gauge(line.cable.supply_gauge))
    yield "impedance", said.value(f"{field}.cable.impedance", f"{number(line.cable.impedance)} ohm")
    yield "length, end to end", computed(metres(wiring.length) if wiring.length else "not planned")
    yield "cameras", computed(len(wiring.wire.cameras))
    yield "unit loads", computed(number(wiring.unit_loads, 4))
    yield "terminators", computed(len(wiring.terminations))
    yield from _bias(said, wiring)
    yield "masters", ", ".join(map(_asker, wiring.wire.askers)) or "none"
    for timed in survey.timed:
        if timed.case.line == line.name:
            yield from _expected(timed, several=len(wiring.wire.askers) > 1)


def _asker(asker: Asker) -> str:
    return asker.master.name + (f" through {asker.converter.name}" if asker.converter else "")


def _bias(said: Said, wiring: Wiring) -> Iterator[tuple[str, str | Value]]:
    line, field = wiring.line, wiring.bias_field
    if not wiring.biased:
        yield "bias", "none"
        return
    where = ", ".join(wiring.bias_places)
    yield "bias", where or said.value(field, "yes, place not planned")
    if line.bias.ohms is not None:
        text = f"{number(line.bias.ohms)} ohm up and down, {number(line.bias.volts)} V"
        yield "bias resistors", said.value(f"{field}.ohms", text)
    if wiring.undriven:
        idle = [value for _, value in wiring.undriven]
        yield "undriven pair", computed(f"{min(idle) * 1000:.0f} to {max(idle) * 1000:.0f} mV")


def _expected(timed: Timed, *, several: bool) -> Iterator[tuple[str, str | Value]]:
    by = f" ({timed.case.master})" if several else ""
    for name in _EXPECTED:
        value, quantity = (timed.budget.figures or {}).get(name), QUANTITIES[name]
        if value is not None and value.value is not None:
            yield f"expected {quantity.title}{by}", computed(_SHOWN[quantity.unit](value.value))


_SHOWN: dict[str, Callable[[float], str]] = {
    "s": lambda seconds: show_time(round(seconds * 1e9, -4)),
    "1": lambda share: f"{share:.0%}",
    "/s": lambda rate: f"{rate:.1f} /s",
}


# -- positions --------------------------------------------------------------------------------------------------------


def _stands(
    survey: Survey, said: Said, wiring: Wiring, fed: dict[str, Feed], numbers: Iterator[int]
) -> Iterator[Stand]:
    entering = _entering(survey)
    hanging = {one.place: one for one in wiring.hanging}
    powered = any(entering.get(place.name) for place in wiring.line.order)
    before: Place | None = None
    for index, place in enumerate(wiring.line.order):
        field = f"{wiring.wire.field}.order[{index}]"
        cable = None
        if before is not None and _is_cable(before, place):
            cable = _cable(said, wiring, field, before, place, next(numbers))
        one = hanging.get(place)
        station = one.station if one else None
        feed = fed.get(place.name)
        stand = Stand(
            kind=place.kind,
            name=place.name,
            at=computed(metres(place.metres)),
            cable=cable,
            stub=said.value(f"{field}.stub", metres(place.stub)) if place.stub else None,
            place=(station.place or "") if station else "",
            ohms=_ohms(said, field, place),
            marks=tuple(_marks(wiring, place, station, entering)),
            idle=_volts(feed, place.name, "idle"),
            peak=_volts(feed, place.name, "peak"),
            supply_pair=place.supply_pair if powered else "",
        )
        yield _as_camera(said, stand, one.entry, station) if one and isinstance(station, CameraPlan) else stand
        before = place


def _as_camera(said: Said, stand: Stand, entry: str, camera: CameraPlan) -> Stand:
    return replace(
        stand,
        bus_id=said.value(f"{entry}.bus_id", camera.bus_id),
        serial=said.value(f"{entry}.serial", camera.serial) if camera.serial else None,
        present=camera.present,
    )


def _is_cable(before: Place, here: Place) -> bool:
    """Stations have a cable between them, even of unknown length; a terminator is usually a plug in a station."""
    return here.metres > before.metres or "terminator" not in (before.kind, here.kind)


def _cable(said: Said, wiring: Wiring, field: str, before: Place, here: Place, number: int) -> Cable:
    length = here.metres - before.metres
    thick = f"{field}.gauge" if here.gauge is not None else f"{wiring.wire.field}.cable.gauge"
    return Cable(
        number,
        said.value(f"{field}.after", metres(length)) if length else None,
        said.value(thick, gauge(here.gauge or wiring.line.cable.gauge)),
        before.name or before.kind,
        here.name or here.kind,
    )


def _ohms(said: Said, field: str, place: Place) -> Value | None:
    if place.kind != "terminator":
        return None
    text = f"{number(place.ohms or 120.0)} ohm"
    if place.capacitor is not None:
        text += f" + {number(place.capacitor * 1e9, 4)} nF"
    return said.value(f"{field}.ohms", text) if place.ohms else Value(text, ASSUMED)


def _marks(
    wiring: Wiring, place: Place, station: CameraPlan | ConverterPlan | None, entering: dict[str, list[str]]
) -> Iterator[str]:
    if station is not None and station.terminator:
        yield "terminator ON"
    if place.kind != "terminator" and place.name in wiring.bias_places:
        yield "bias ON" if station is not None and station.bias else "bias"
    if station is not None and station.driver.swapped:
        yield "pair SWAPPED"
    for name in entering.get(place.name, ()):
        yield name if "JOINED" in name else f"in: {name}"
    if place.supply_pair != "joined":
        yield f"supply pair {place.supply_pair.upper()}"


# -- supplies ---------------------------------------------------------------------------------------------------------


def _fed(survey: Survey) -> dict[str, Feed]:
    """Name of a station to its feed."""
    return {load.name: feed for feed in survey.feeds for load in feed.loads}


def _entering(survey: Survey) -> dict[str, list[str]]:
    """Name of a station to the supplies injected there."""
    boxes: dict[str, list[str]] = {}
    for converter in survey.plan.converters:
        boxes.setdefault(converter.box or converter.name, []).append(converter.name)
    found: dict[str, list[str]] = {}
    for supply in survey.plan.supplies:
        for name in boxes.get(supply.at or "", [supply.at] if supply.at else []):
            found.setdefault(name, []).append(supply.name)
    for first, second, _ in joined(survey.site, survey.feeds):
        for name in second.entries:
            said = "JOINED with" if same_voltage(first, second) else "ERROR: JOINED, other voltage than"
            found[name] = [*found[name], f"{said} {first.supply.name}"]
    return found


def _volts(feed: Feed | None, name: str, state: str) -> Value | None:
    if feed is None or not feed.volts:
        return None
    at = feed.at_loads(state).get(name)
    return Value(volts(at[1]) if at else _NO_VOLTS, COMPUTED)

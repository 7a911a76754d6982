"""The bill of material, counted from the plan.

Cable is summed piece by piece along the lines, plus a reserve that is marked as assumed, because real cable runs are
longer than on a drawing.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterator

from busim.analysis.check import TERMINATOR_OHMS, Survey
from busim.commissioning.sheet.model import ASSUMED, Cell, Table, Value
from busim.commissioning.sheet.said import Said, computed, gauge, metres, number, of_range
from busim.plan import ConverterPlan, SupplyPlan

RESERVE = 0.1  # common practice, no source


def bill(survey: Survey, said: Said) -> tuple[Table, ...]:
    """Cameras, converters, cable, terminators and bias, supplies, fuses, spares."""
    return (
        _stations(survey),
        _cable(survey),
        _ends(survey),
        _supplies(survey, said),
        _fuses(survey),
        _spares(survey, said),
    )


def _stations(survey: Survey) -> Table:
    rows: list[tuple[Cell, ...]] = []
    models = Counter(camera.model for camera in survey.plan.cameras)
    for model, count in sorted(models.items()):
        rows.append((f"camera, {model}", computed(count), ""))
    alone = [one for one in survey.plan.converters if not one.box]
    if alone:
        rows.append(("converter with one port", computed(len(alone)), _named(alone)))
    boxes: dict[str, list[ConverterPlan]] = defaultdict(list)
    for one in survey.plan.converters:
        if one.box:
            boxes[one.box].append(one)
    for name, ports in boxes.items():
        rows.append((f"converter with several ports, {name}", computed(1), f"{len(ports)} ports used: {_named(ports)}"))
    if survey.plan.panels:
        rows.append(("panel", computed(len(survey.plan.panels)), ", ".join(one.name for one in survey.plan.panels)))
    return Table("Cameras, converters, panels", ("item", "count", "names"), tuple(rows), ticks=True)


def _named(ports: list[ConverterPlan]) -> str:
    return ", ".join(one.name for one in ports)


def _pieces(survey: Survey) -> Iterator[tuple[str, float]]:
    """Kind and metres of every piece of cable."""
    for line in survey.plan.lines:
        supply = line.cable.supply_gauge
        pair = "" if supply is None else f" with a supply pair of {gauge(supply)}"
        for before, here in zip(line.order, line.order[1:], strict=False):
            yield f"bus pair, {gauge(here.gauge or line.cable.gauge)}{pair}", here.metres - before.metres
        for place in line.order:
            yield f"stub, {gauge(place.gauge or line.cable.gauge)}", place.stub
    for one in survey.plan.supplies:
        thick = "gauge not planned" if one.cable.gauge is None else gauge(one.cable.gauge)
        yield f"supply cable, {thick}", one.cable.length


def _cable(survey: Survey) -> Table:
    pieces: dict[str, list[float]] = defaultdict(list)
    for kind, length in _pieces(survey):
        if length > 0:
            pieces[kind].append(length)
    rows = tuple(
        (
            kind,
            computed(len(lengths)),
            computed(metres(sum(lengths))),
            Value(f"{RESERVE:.0%}", ASSUMED),
            computed(metres(math.ceil(round(sum(lengths) * (1 + RESERVE), 6)))),
        )
        for kind, lengths in sorted(pieces.items())
    )
    bare = sum(1 for wiring in survey.wirings if not wiring.length)
    left = f" Not included: {bare} of {len(survey.wirings)} lines, which have no lengths in the plan." if bare else ""
    return Table(
        "Cable",
        ("kind", "pieces", "metres", "reserve", "to bring"),
        rows,
        f"Planned lengths, plus {RESERVE:.0%} for longer runs than on paper (assumed), rounded up to a whole "
        f"metre.{left}",
        ticks=True,
    )


def _ends(survey: Survey) -> Table:
    own: Counter[str] = Counter()
    switched: list[str] = []
    networks: Counter[str] = Counter()
    for wiring in survey.wirings:
        for one in wiring.terminations:
            if one.built_in:
                switched.append(f"{one.built_in} ({number(TERMINATOR_OHMS)} ohm)")
            else:
                nano = "" if one.capacitor is None else f" + {number(one.capacitor * 1e9, 4)} nF"
                own[f"terminator, {number(one.ohms)} ohm{nano}"] += 1
        switches = {hung.name for hung in wiring.hanging if hung.station is not None and hung.station.bias}
        for place in wiring.bias_places:
            if place in switches:
                switched.append(f"{place} (bias)")
            else:
                ohms = wiring.line.bias.ohms
                value = "ohms not planned" if ohms is None else f"2 x {number(ohms)} ohm"
                networks[f"bias resistors, {value}, {number(wiring.line.bias.volts)} V"] += 1
    rows: list[tuple[Cell, ...]] = [(what, computed(count), "") for what, count in sorted(own.items())]
    rows += [(what, computed(count), "") for what, count in sorted(networks.items())]
    if switched:
        rows.append(("built in, switch on", computed(len(switched)), ", ".join(switched)))
    return Table("Terminators and bias", ("item", "count", "names"), tuple(rows), ticks=True)


def _supplies(survey: Survey, said: Said) -> Table:
    rows = []
    for feed in survey.feeds:
        one, drawn = feed.supply, feed.drawn("peak")
        rows.append(
            (
                one.name,
                _kind(one),
                one.place or "",
                said.value(f"{feed.field}.voltage", of_range(one.voltage, "V")),
                "not planned" if feed.limit is None else said.value(f"{feed.field}.limit", f"{number(feed.limit)} W"),
                "not planned" if one.fuse is None else said.value(f"{feed.field}.fuse", f"{number(one.fuse)} A"),
                computed("collapses" if drawn is None and feed.loads else f"{drawn or 0:.2f} A"),
                f"{len(feed.loads)}: " + ", ".join(load.name for load in feed.loads) if feed.loads else "nothing",
            )
        )
    return Table(
        "Supplies",
        ("supply", "kind", "place", "voltage", "limit", "fuse", "most drawn", "feeds"),
        tuple(rows),
        "The local code and a licensed electrician decide fuses, cable sizes and mains, not this sheet.",
        ticks=True,
    )


def _kind(one: SupplyPlan) -> str:
    if one.kind != "poe":
        return "DC"
    return "PoE" if one.poe_class is None else f"PoE, class {one.poe_class}"


def _fuses(survey: Survey) -> Table:
    fuses = Counter(one.fuse for one in survey.plan.supplies if one.fuse is not None)
    rows = tuple((f"fuse, {number(amperes)} A", computed(count)) for amperes, count in sorted(fuses.items()))
    note = "As planned; the local code decides type and speed."
    return Table("Fuses", ("item", "count"), rows, note, ticks=True)


def _spares(survey: Survey, said: Said) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for index, one in enumerate(survey.plan.spares):
        field = f"spares[{index}]"
        model = survey.model(one.model)
        bus_id = one.bus_id if one.bus_id is not None else model.bus.factory_id if model else None
        rows.append(
            (
                one.name,
                one.model,
                said.value(f"{field}.count", one.count),
                "not known" if bus_id is None else Value(str(bus_id), said.kind(f"{field}.bus_id")),
                said.value(f"{field}.serial", one.serial) if one.serial else "not planned",
                one.place or "",
            )
        )
    return Table(
        "Spares",
        ("spare", "model", "count", "ID as delivered", "serial", "place"),
        tuple(rows),
        "A spare answers to the ID it was delivered with. Set its own ID before it meets a line that uses that ID.",
        ticks=True,
    )

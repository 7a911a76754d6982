"""The page for the worst hour: a camera does not answer. What to ask and measure, with the values of this plan."""

from __future__ import annotations

from collections.abc import Iterator

from busim.analysis.check import Feed, Survey
from busim.commissioning.sheet.model import ASSUMED, PLANNED, Cell, LinePart, Silent, Table, Value
from busim.commissioning.sheet.said import Said, baud, volts
from busim.installation import ResolvedLine

Question = tuple[str, str, str]


def silent(survey: Survey, said: Said, lines: tuple[LinePart, ...]) -> tuple[Silent, ...]:
    """The page of each line that has cameras."""
    fed = {load.name: feed for feed in survey.feeds for load in feed.loads}
    parts = {part.name: part for part in lines}
    return tuple(
        Silent(wire.name, tuple(_tree(wire)), _table(said, wire, parts[wire.name], fed))
        for wire in survey.wires
        if wire.cameras
    )


def _tree(wire: ResolvedLine) -> Iterator[Question]:
    boxes = [one.converter for one in wire.converters]
    setting = f"{baud(wire.line.baud)} {wire.line.format}"
    if boxes:
        where = ", ".join(f"{one.name} at {one.host}:{one.port}" for one in boxes if one.dials is None)
        yield (
            f"Does a laptop in the same network reach {where or boxes[0].name}?",
            "go on",
            "its supply, its network cable, address, netmask and gateway; another client that holds its only slot",
        )
    if len(wire.cameras) > 1:
        yield (
            "Does any other camera of this line answer?",
            "the converter and its settings are right: go on",
            f"the converter's baud and format ({setting}), its plug, the wires of the pair, the supply of the line",
        )
        yield (
            "Do all cameras behind one point of the cable stay silent?",
            "the cable, the plugs or a camera without power just behind the last one that answers; then its terminator",
            "it is this camera alone: go on",
        )
    yield (
        "Is the voltage at its plug as in the table? Measure at the plug, with one hand, touching nothing else",
        "go on",
        "supply off and checked; then fuse, plug and cable on the way. Never fit a larger fuse",
    )
    yield (
        "Does it answer at its factory ID and factory settings, as in the table, with the converter set to them?",
        "it was not set, not saved, or is another unit: read its serial number, then the steps of its line",
        "go on",
    )
    yield (
        "Alone on a short cable at the converter, does it answer?",
        "two cameras have one ID, or the line is at fault: terminators, bias, the pair swapped at its plug",
        "swap the two wires at its plug; then it is broken: fit a spare, set on the bench before it goes up",
    )


def _table(said: Said, wire: ResolvedLine, part: LinePart, fed: dict[str, Feed]) -> Table:
    stands = {stand.name: stand for stand in part.stands if stand.kind == "camera"}
    start = next((one.metres or 0.0 for one in wire.converters), 0.0)
    rows: list[tuple[Cell, ...]] = []
    for one in wire.cameras:
        stand, port, feed = stands[one.name], one.factory_port, fed.get(one.name)
        least = next((load.least for load in feed.loads if load.name == one.name), 0.0) if feed else 0.0
        between = [other.name for other in wire.cameras if _between(start, other.metres, one.metres)]
        delivered = "" if port is None or one.factory_id is None else f"ID {one.factory_id}, {baud(port[0])} {port[1]}"
        written = said.kind(f"{one.field}.factory_id") == PLANNED
        rows.append(
            (
                one.name,
                stand.bus_id or "",
                Value(delivered, PLANNED if written else ASSUMED) if delivered else "not known",
                stand.idle or "not planned",
                stand.peak or "not planned",
                Value(volts(least), ASSUMED) if least else "not known",
                feed.supply.name if feed else "not planned",
                ", ".join(between) or "none: it is the first",
            )
        )
    return Table(
        "What to expect at each camera",
        ("camera", "ID", "as delivered", "V at rest", "V at peak", "least V", "supply", "must answer too"),
        tuple(rows),
        "Volts are computed at the lowest voltage of the supply; the least voltage is that of the model. Cameras that "
        "must answer too lie between the converter and this one: if one of them is silent as well, begin with it.",
        found=True,
    )


def _between(start: float, at: float, far: float) -> bool:
    """Whether a position lies on the way from the converter to another, that one left out."""
    return start <= at < far or far < at <= start

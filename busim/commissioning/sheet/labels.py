"""Labels to cut out: one per camera, converter and cable end."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from busim.analysis.check import Survey
from busim.commissioning.sheet.model import Cable, Label, LinePart


def labels(survey: Survey, lines: Sequence[LinePart]) -> tuple[Label, ...]:
    """All labels, line by line."""
    return tuple(label for part in lines for label in _of_line(survey, part))


def _of_line(survey: Survey, part: LinePart) -> Iterator[Label]:
    for stand in part.stands:
        if stand.kind == "camera" and stand.bus_id is not None:
            serial = f"serial {stand.serial.text}" if stand.serial else "serial: ____________"
            yield Label("camera", stand.name, f"ID {stand.bus_id.text}", (part.name, serial, stand.place))
        elif stand.kind == "converter":
            one = survey.converters[stand.name][1]
            where = f"{one.dials[0]}:{one.dials[1]}" if one.dials else f"{one.host}:{one.port}"
            yield Label("converter", stand.name, where, (part.name, stand.place))
    cables = [stand.cable for stand in part.stands if stand.cable is not None]
    for cable in cables:
        for end, far in ((cable.start, cable.end), (cable.end, cable.start)):
            yield Label("cable end", f"at {end}", f"cable {cable.number}", (part.name, f"to {far}", _size(cable)))


def _size(cable: Cable) -> str:
    return f"{cable.metres.text if cable.metres else 'length ______'}, {cable.gauge.text}"

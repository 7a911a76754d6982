"""A spare with the bus ID of a camera."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    spares: dict[int, tuple[str, str]] = {}
    for number, spare in enumerate(survey.plan.spares):
        model = survey.model(spare.model)
        factory = spare.bus_id if spare.bus_id is not None else model.bus.factory_id if model else None
        if factory is not None:
            spares.setdefault(factory, (f"spares[{number}]", spare.name))
    for wire in survey.wires:
        delivered = {survey.factory_id(one.camera) for one in wire.cameras}
        for one in wire.cameras:
            if one.camera.bus_id in spares and one.camera.bus_id not in delivered:
                path, name = spares[one.camera.bus_id]
                yield Spot(
                    f"{one.field}.bus_id",
                    f"spare {name!r} has the bus ID of camera {one.camera.name!r}",
                    f"{one.camera.bus_id}, the spare is at {survey.row(path)}",
                    "an ID that no spare has",
                )


RULE = Rule(
    id="spare-meets-camera",
    title="A spare with the bus ID of a camera",
    severity="warning",
    area="addresses",
    explanation="When this spare replaces a dead camera in the show, it answers together with a working camera, and "
    "then two pictures are wrong.",
    source="common practice, no source",
    advice="Set the spare to an ID that is free on all lines, or keep this ID free.",
    find=_find,
    hands_on=True,
    bad=(
        ("panels:", "spares:\n  - {name: reserve, model: zoom-camera, bus_id: 3}\npanels:"),
        ("boulder right, bus_id: 3", "boulder right, bus_id: «3"),
    ),
    good=(("panels:", "spares:\n  - {name: reserve, model: zoom-camera, bus_id: 9}\npanels:"),),
)

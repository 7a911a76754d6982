"""Two cameras with the same bus ID on one line."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        first: dict[int, str] = {}
        for one in wire.cameras:
            camera = one.camera
            if camera.bus_id in first:
                other = first[camera.bus_id]
                yield Spot(
                    f"{one.field}.bus_id",
                    f"camera {camera.name!r} has the bus ID of another camera on line {wire.line.name!r}",
                    f"{camera.bus_id}, first at {survey.row(f'{other}.bus_id')}",
                    "an ID of its own on the line",
                )
            first.setdefault(camera.bus_id, one.field)


RULE = Rule(
    id="same-id-on-line",
    title="Two cameras with the same bus ID on one line",
    severity="error",
    area="addresses",
    explanation="Both cameras answer the same request. Their replies collide, or only the quicker one gets through and "
    "the slower one seems absent. An operator may then move the wrong camera in front of an audience.",
    source="MODBUS over Serial Line V1.02, 2.2 (an address is unique on its bus, from memory); free to repeat on "
    "another line: common practice, no source",
    advice="Connect one of the two alone, give it a free ID, save it, and write that ID here.",
    find=_find,
    hands_on=True,
    bad=(("boulder right, bus_id: 3", "boulder right, bus_id: «2"),),
    good=(("speed start, bus_id: 21", "speed start, bus_id: 2"),),
)

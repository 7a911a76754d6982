"""A bus ID that is also a factory ID on its line."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        delivered: dict[int, list[str]] = {}
        for one in wire.cameras:
            factory = survey.factory_id(one.camera)
            if factory is not None:
                delivered.setdefault(factory, []).append(one.camera.name)
        for one in wire.cameras:
            others = [name for name in delivered.get(one.camera.bus_id, ())[:2] if name != one.camera.name]
            if others:
                count = len(delivered[one.camera.bus_id])
                counted = f"{count} camera{'s' if count > 1 else ''}"
                yield Spot(
                    f"{one.field}.bus_id",
                    f"camera {one.camera.name!r} keeps bus ID {one.camera.bus_id}, which is also the factory ID of "
                    f"{others[0]!r}",
                    f"{one.camera.bus_id}, the factory ID of {counted} on the line",
                    "an ID that is no camera's factory ID",
                )


RULE = Rule(
    id="factory-id-in-use",
    title="A bus ID that is also a factory ID on its line",
    severity="warning",
    area="addresses",
    explanation="A camera that is connected later, or that falls back to its factory settings, shares this ID. Both "
    "cameras answer, and a new ID may reach the wrong one or both.",
    source="factory ID 1: common practice, no source",
    advice="Keep the factory ID free on every line. Then one new camera at a time can be connected and found there.",
    find=_find,
    hands_on=True,
    bad=(("boulder right, bus_id: 3", "boulder right, bus_id: «1"),),
    good=(("boulder right, bus_id: 3", "boulder right, bus_id: 3, factory_id: 7"),),
)

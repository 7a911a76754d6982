"""A bus ID that other cameras of the line have as delivered."""

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
            others = [name for name in delivered.get(one.camera.id, ())[:2] if name != one.camera.name]
            if others:
                yield Spot(
                    f"{one.field}.id",
                    f"camera {one.camera.name!r} is to stay on the ID with which {others[0]!r} comes out of its box",
                    f"{one.camera.id}, the factory ID of {len(delivered[one.camera.id])} cameras of the line",
                    "an ID that no camera has as delivered",
                )


RULE = Rule(
    id="factory-id-in-use",
    title="A bus ID that other cameras of the line have as delivered",
    severity="warning",
    area="addresses",
    explanation="Whoever is connected next, or falls back to its default, meets this camera: two answer, and the "
    "new ID may be given to the wrong one, or to both.",
    source="factory ID 1: common practice, no source",
    advice="Keep the factory ID free on every line, so that one new camera at a time can be connected and found there.",
    find=_find,
    bad=(("boulder right, id: 3", "boulder right, id: «1"),),
    good=(("boulder right, id: 3", "boulder right, id: 3, factory_id: 7"),),
)

"""A camera on the ID that means everybody."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        if wire.protocol is None or wire.protocol.broadcast is None:
            continue
        low, high = wire.protocol.ids
        for one in wire.cameras:
            if one.camera.id == wire.protocol.broadcast:
                yield Spot(
                    f"{one.field}.id",
                    f"camera {one.camera.name!r} has the ID by which {wire.protocol.name} speaks to all cameras",
                    str(one.camera.id),
                    f"{low} to {high}",
                )


RULE = Rule(
    id="broadcast-id",
    title="A camera on the ID that means everybody",
    severity="error",
    area="addresses",
    explanation="Whatever is meant for this camera alone is obeyed by every camera of the line, and in most protocols "
    "nobody answers a broadcast, so that its values can never be read.",
    source="the protocol; for modbus-rtu MODBUS over Serial Line V1.02, p. 8 (0 is broadcast)",
    advice="Give it an ID of its own.",
    find=_find,
    bad=(("boulder right, id: 3", "boulder right, id: «0"),),
    good=(("boulder right, id: 3", "boulder right, id: 5"),),
)

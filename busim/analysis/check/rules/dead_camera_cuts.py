"""A camera that breaks the line when it has no supply."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import listed
from busim.physics.electric import lost


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        for index, one in enumerate(wiring.hanging):
            if one.unpowered != "cuts" or not one.in_chain:
                continue
            loss = lost(wiring.stands, index, "cuts")
            if loss.unreached or loss.split:
                yield Spot(
                    f"{one.entry}.unpowered",
                    f"camera {one.name!r} breaks the line in mid-chain when it has no supply",
                    f"lost with it (computed): {listed(loss.unreached) or 'no other camera, but the line is split'}",
                    "a place at an end of the line, or a camera that passes the pair through",
                )


RULE = Rule(
    id="dead-camera-cuts",
    title="A camera that breaks the line when it has no supply",
    severity="warning",
    area="cable",
    explanation="One blown fuse or one pulled plug takes every camera behind this one offline, although those cameras "
    "are sound. In a show this fault takes longest to find.",
    source="common practice, no source; what is lost is computed from the order of the line",
    advice="Move the camera to the end of the cable, or connect it to a tee with a short stub. Or have a licensed "
    "electrician plan a second supply for it.",
    find=_find,
    hands_on=True,
    bad=(
        ("boulder right, bus_id: 3", "boulder right, unpowered: «cuts, bus_id: 3"),
        ("boulder right, after: 9 m, stub: 0.3 m", "boulder right, after: 9 m"),
    ),
    good=(("boulder mats, bus_id: 4", "boulder mats, unpowered: cuts, bus_id: 4"),),
)

"""A camera that loads the line when it has no supply."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        others = len(wiring.hanging) - 1
        for one in wiring.hanging:
            if one.unpowered == "loads" and others:
                yield Spot(
                    f"{one.entry}.unpowered",
                    f"without supply, camera {one.name!r} pulls the pair down for the whole line",
                    f"loads, with {others} other stations on the line (planned, or as its model says)",
                    "passes",
                )


RULE = Rule(
    id="dead-camera-loads",
    title="A camera that loads the line when it has no supply",
    severity="warning",
    area="cable",
    explanation="Its dead input stage draws on the pair through its protection, and the level sinks for everybody. "
    "The fault shows anywhere but at the camera that has no supply.",
    source="common practice, no source",
    advice="Take its plug off the pair while it has no supply, or give it a port of its own.",
    find=_find,
    bad=(("boulder mats, id: 4", "boulder mats, unpowered: «loads, id: 4"),),
    good=(("boulder mats, id: 4", "boulder mats, unpowered: passes, id: 4"),),
)

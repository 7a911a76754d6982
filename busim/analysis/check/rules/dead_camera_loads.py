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
                    f"camera {one.name!r} lowers the level of the whole line when it has no supply",
                    f"loads, with {others} other station{'s' if others > 1 else ''} on the line (plan or model)",
                    "passes",
                )


RULE = Rule(
    id="dead-camera-loads",
    title="A camera that loads the line when it has no supply",
    severity="warning",
    area="cable",
    explanation="Its dead input stage draws current from the pair through its protection circuit, and the level drops "
    "for every station. The fault appears anywhere but at the camera without supply.",
    source="common practice, no source",
    advice="Unplug it from the pair while it has no supply. Or give it a converter port of its own.",
    find=_find,
    hands_on=True,
    bad=(("boulder mats, bus_id: 4", "boulder mats, unpowered: «loads, bus_id: 4"),),
    good=(("boulder mats, bus_id: 4", "boulder mats, unpowered: passes, bus_id: 4"),),
)

"""A load of which nobody says what it takes."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        for load in feed.loads:
            if load.watts is None:
                yield Spot(
                    f"{load.field}.power",
                    f"nobody says what {load.name!r} takes from {feed.supply.name!r}",
                    "0 W, neither in the plan nor in its model: it counts as nothing",
                    "its power at rest, at its most and while it starts",
                )


RULE = Rule(
    id="power-not-said",
    title="A load of which nobody says what it takes",
    severity="note",
    area="supply",
    explanation="Voltages, limits and fuses of its supply are computed without it, and come out better than they are.",
    source="common practice, no source",
    advice="Write `power: {idle: 4 W, peak: 8 W, start_up: 11 W}` from its label or data sheet, or into the camera "
    "model.",
    find=_find,
    bad=(("boulder mats, id: 4", "boulder mats, power: «0 W, id: 4"),),
    good=(("boulder mats, id: 4", "boulder mats, power: 6 W, id: 4"),),
)

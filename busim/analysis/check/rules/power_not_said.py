"""A load without its power in the plan."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        for load in feed.loads:
            camera = survey.cameras.get(load.name)
            known = camera is None or survey.model(camera[1].model) is not None
            if load.watts is None and known:
                yield Spot(
                    f"{load.field}.power",
                    f"the power that {load.name!r} takes from {feed.supply.name!r} is missing",
                    "no power in plan or model: it counts as 0 W (assumed)",
                    "its power at idle, at peak and at start-up",
                )


RULE = Rule(
    id="power-not-said",
    title="A load without its power in the plan",
    severity="note",
    area="supply",
    explanation="Voltages, limits and fuses of its supply are computed without this load, so they look better than "
    "they are.",
    source="common practice, no source",
    advice="Take the power from the label or data sheet. Write `power: {idle: 4 W, peak: 8 W, start_up: 11 W}` here, "
    "or in the camera model.",
    find=_find,
    bad=(("boulder mats, bus_id: 4", "boulder mats, power: «0 W, bus_id: 4"),),
    good=(("boulder mats, bus_id: 4", "boulder mats, power: 6 W, bus_id: 4"),),
)

"""A supply voltage above the maximum of its loads."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import listed


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        high = feed.supply.voltage.high
        over = [load for load in feed.loads if load.most and high > load.most]
        if over:
            yield Spot(
                f"{feed.field}.voltage",
                f"the voltage of {feed.supply.name!r} is above the maximum of its loads",
                f"{high:g} V (planned), which reaches {listed([load.name for load in over])} at light load",
                f"at most {min(load.most for load in over):g} V (their models)",
            )


RULE = Rule(
    id="voltage-above-maximum",
    title="A supply voltage above the maximum of its loads",
    severity="error",
    area="supply",
    explanation="The drop along the cable is no protection: while the cameras idle, nearly the full voltage arrives. "
    "It can destroy all of them at once.",
    source="the camera models; that the voltage without load is that of the supply: any textbook",
    advice="Do not power it. Use a supply with the voltage in their data sheets, or a voltage converter at each "
    "camera.",
    find=_find,
    hands_on=True,
    bad=(("voltage: 13.8 V", "voltage: «24 V"),),
    good=(("voltage: 13.8 V", "voltage: 15 V"),),
)

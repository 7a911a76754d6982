"""A supply with more voltage than what it feeds bears."""

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
                f"{feed.supply.name!r} has more voltage than what it feeds bears",
                f"{high:g} V (planned), which reaches {listed([load.name for load in over])} while little is drawn",
                f"at most {min(load.most for load in over):g} V (their models)",
            )


RULE = Rule(
    id="voltage-above-maximum",
    title="A supply with more voltage than what it feeds bears",
    severity="error",
    area="supply",
    explanation="The drop over the cable is no protection: while the cameras are at rest, nearly all of the "
    "voltage arrives. What breaks is then all of them at once.",
    source="the camera models; that the voltage without load is that of the supply: any textbook",
    advice="Take the supply that their data sheets ask for, or a converter from one voltage to the other at each "
    "camera.",
    find=_find,
    bad=(("voltage: 13.8 V", "voltage: «24 V"),),
    good=(("voltage: 13.8 V", "voltage: 15 V"),),
)

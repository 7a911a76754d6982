"""A line longer than RS-485 is made for."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.physics.electric import LONGEST


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        if wiring.length > LONGEST.value:
            yield Spot(
                wiring.longest_cable,
                f"line {wiring.line.name!r} is longer than RS-485 is made for",
                f"{wiring.length:g} m from end to end (planned); its longest cable is this one",
                f"at most {LONGEST.value:g} m at any baud: {LONGEST.source}",
            )


RULE = Rule(
    id="line-over-1200-m",
    title="A line longer than RS-485 is made for",
    severity="error",
    area="cable",
    explanation="Beyond this length the copper takes too much of the level, and the earth potentials at the two ends "
    "differ too much, at any baud. The line may work in a test and fail when the hall is lit.",
    source="TIA/EIA-485-A (4000 ft) via TI SLLA272 sec. 9; TIA TSB-89-A (from memory)",
    advice="Give the far cameras a converter of their own, or put a repeater into the cable.",
    find=_find,
    hands_on=True,
    bad=(("boulder mats, after: 14 m", "boulder mats, after: «1300 m, gauge: AWG 16"),),
    good=(("boulder mats, after: 14 m", "boulder mats, after: 200 m, gauge: AWG 16"),),
)

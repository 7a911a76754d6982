"""A stub longer than the standard allows."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import tap_limit


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        for one in wiring.hanging:
            most, ports = tap_limit(wiring, one)
            if one.place.stub > most:
                shared = f"its share of 40 m for {ports} stubs at one tap" if ports > 1 else "for a single stub"
                yield Spot(
                    f"{one.field}.stub",
                    f"the stub to {one.name!r} is longer than the standard allows",
                    f"{one.place.stub:g} m (planned)",
                    f"at most {most:.3g} m, {shared} (MODBUS V1.02, 3.4.3)",
                )


RULE = Rule(
    id="derivation-too-long",
    title="A stub longer than the standard allows",
    severity="error",
    area="cable",
    explanation="A cable this long is a second line without a terminator at its end. Its reflections come late and "
    "flip bits for every station, whichever was asked.",
    source="MODBUS over Serial Line V1.02, 3.4.3: derivation cables of at most 20 m, at a tap of n ports 40/n m each",
    advice="Run the line to the station and back, or give the station a converter of its own.",
    find=_find,
    hands_on=True,
    bad=(("after: 18 m, stub: 0.3 m", "after: 18 m, stub: «25 m"),),
    good=(("after: 18 m, stub: 0.3 m", "after: 18 m, stub: 0.5 m"),),
)

"""A cable to a station that is no stub any more."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import tap_limit


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        for one in wiring.hanging:
            most, ports = tap_limit(wiring, one)
            if one.place.stub > most:
                shared = f"a share of the 40 m of {ports} that leave the line here" if ports > 1 else "for one alone"
                yield Spot(
                    f"{one.field}.stub",
                    f"the cable from the line to {one.name!r} is longer than any stub may be",
                    f"{one.place.stub:g} m (planned)",
                    f"at most {most:.3g} m, {shared} (MODBUS V1.02, 3.4.3)",
                )


RULE = Rule(
    id="derivation-too-long",
    title="A cable to a station that is longer than any stub may be",
    severity="error",
    area="cable",
    explanation="This is a second line without a terminator at its end. What comes back from there arrives a bit late "
    "and flips bits for every station, whichever of them was asked.",
    source="MODBUS over Serial Line V1.02, 3.4.3: derivation cables of at most 20 m, at a tap of n ports 40/n m each",
    advice="Lead the line there and back, or give the station a converter of its own.",
    find=_find,
    bad=(("after: 18 m, stub: 0.3 m", "after: 18 m, stub: «25 m"),),
    good=(("after: 18 m, stub: 0.3 m", "after: 18 m, stub: 0.5 m"),),
)

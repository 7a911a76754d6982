"""A station whose pair is connected the wrong way round."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        places = wire.places
        swapped = [place for place in places if place.driver.swapped]
        if not swapped or len(swapped) == len(places):
            continue  # swapped alike is not swapped
        few = swapped if 2 * len(swapped) <= len(places) else [place for place in places if not place.driver.swapped]
        for place in few:
            yield Spot(
                f"{place.field}.driver" + (".swapped" if place.driver.swapped else ""),
                f"{place.name!r} has its two wires the other way round than the rest of line {wire.line.name!r}",
                f"swapped: {str(place.driver.swapped).lower()}",
                "all stations alike",
            )


RULE = Rule(
    id="swapped-pair",
    title="A pair that is connected the wrong way round",
    severity="error",
    area="settings",
    explanation="To this station every 1 is a 0. It hears one endless character and may answer it, and its driver "
    "holds the line at the wrong level when it is at rest.",
    source="common practice, no source; makers do not agree which of the two wires is called A",
    advice="Swap the two wires at this station.",
    find=_find,
    bad=(
        (
            "speed finish, id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, id: 22, serial: 4105, turnaround: 2..6 ms, driver: {swapped: «true}",
        ),
    ),
    good=(
        (
            "speed finish, id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, id: 22, serial: 4105, turnaround: 2..6 ms, driver: {swapped: false}",
        ),
    ),
)

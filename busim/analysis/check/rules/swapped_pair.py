"""A station with its two bus wires swapped."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        places = wire.places
        swapped = [place for place in places if place.driver.swapped]
        if not swapped or len(swapped) == len(places):
            continue  # all stations agree, so nothing is swapped
        few = swapped if 2 * len(swapped) <= len(places) else [place for place in places if not place.driver.swapped]
        for place in few:
            yield Spot(
                f"{place.field}.driver" + (".swapped" if place.driver.swapped else ""),
                f"the two bus wires of {place.name!r} are swapped against the rest of line {wire.line.name!r}",
                f"swapped: {str(place.driver.swapped).lower()}",
                "the same at all stations",
            )


RULE = Rule(
    id="swapped-pair",
    title="A station with its two bus wires swapped",
    severity="error",
    area="settings",
    explanation="This station reads every 1 as a 0. It hears one endless character and may answer it, and its driver "
    "holds the idle line at the wrong level.",
    source="common practice, no source; makers do not agree which of the two wires is called A",
    advice="Swap the two bus wires at this station.",
    find=_find,
    hands_on=True,
    bad=(
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, driver: {swapped: «true}",
        ),
    ),
    good=(
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, driver: {swapped: false}",
        ),
    ),
)

"""Cameras that hang over people."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import listed


def _find(survey: Survey) -> Spots:
    placed = [(camera.place, field, name) for name, (field, camera) in survey.cameras.items() if camera.place]
    if placed:
        places = list(dict.fromkeys(place for place, _, _ in placed))
        yield Spot(
            f"{placed[0][1]}.place",
            "cameras are mounted on this site: nothing above people may fall",
            f"{len(placed)} of {len(survey.cameras)} cameras at {listed(places)} (planned)",
            "each mount rated, with a safety bond, and inspected by a qualified person",
        )


RULE = Rule(
    id="caution-rigging",
    title="Cameras that hang over people",
    severity="note",
    area="cautions",
    explanation="Caution. A camera, its mount, its cable and the tools used to fit it hang above people. A plan says "
    "where a camera is, not whether its mount holds.",
    source="common practice, no source; the local code and the person responsible for the rigging decide",
    advice="Leave rigging to licensed or qualified people who work by the local code. It needs rated points, safety "
    "bonds, a proper lift, and an inspection before anybody walks below. Then silence this rule and name the "
    "responsible person in the reason.",
    find=_find,
    bad=(
        ("boulder mats, bus_id: 4", "boulder mats, place: «front truss, bus_id: 4"),
        ("panels:", "places:\n  - {name: front truss}\npanels:"),
    ),
    good=(("panels:", "places:\n  - {name: front truss}\npanels:"),),
)

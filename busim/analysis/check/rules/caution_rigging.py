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
            "cameras are mounted at places of this site, and what is above people must not come down",
            f"{len(placed)} of {len(survey.cameras)} cameras at {listed(places)} (planned)",
            "each rated, with a second securing, and looked at by whoever is qualified for it",
        )


RULE = Rule(
    id="caution-rigging",
    title="Cameras that hang over people",
    severity="note",
    area="cautions",
    explanation="Caution. A camera, its mount, its cable and the tool that fitted it hang over heads. A plan says "
    "where, not whether it holds.",
    source="common practice, no source; the local code and whoever is responsible for the rigging decide",
    advice="Rigging by licensed or qualified people alone, by the local code: rated points, safety bonds, an "
    "inspection before anybody walks below, a proper lift. Then silence this with who answers for it as the reason.",
    find=_find,
    bad=(
        ("boulder mats, id: 4", "boulder mats, place: «front truss, id: 4"),
        ("panels:", "places:\n  - {name: front truss}\npanels:"),
    ),
    good=(("panels:", "places:\n  - {name: front truss}\npanels:"),),
)

"""A station without a cable length."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        for one in wiring.hanging[1:]:
            if survey.plan.positions and f"{one.field}.after" not in survey.plan.positions:
                yield Spot(
                    one.field,
                    f"the cable length to {one.name!r} is missing",
                    "no length: it counts as 0 m (assumed)",
                    "the metres of cable from the previous position",
                )


RULE = Rule(
    id="no-cable-length",
    title="A station without a cable length",
    severity="note",
    area="cable",
    explanation="Reach, reflections, bias and voltages are computed from lengths. A missing length counts as 0 m, so "
    "every cable rule is too optimistic about this line.",
    source="common practice, no source",
    advice="Measure along the cable route, not on the plan of the building, and write `after: 12 m`. Write `after: 0` "
    "where there is no cable.",
    find=_find,
    bad=(("- {camera: boulder right, after: 9 m,", "- «{camera: boulder right,"),),
    good=(("boulder right, after: 9 m", "boulder right, after: 0"),),
)

"""A station whose distance is not written."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        for one in wiring.hanging[1:]:
            if survey.plan.positions and f"{one.field}.after" not in survey.plan.positions:
                yield Spot(
                    one.field,
                    f"no length of the cable to {one.name!r} is written",
                    "nothing: counted as 0 m (assumed)",
                    "the metres of cable from the position before",
                )


RULE = Rule(
    id="no-cable-length",
    title="A station whose distance is not written",
    severity="note",
    area="cable",
    explanation="Reach, reflections, bias and voltages are computed from lengths. What is not written counts as "
    "nothing, so every rule about cable is kinder to this line than the site will be.",
    source="common practice, no source",
    advice="Measure the way of the cable, not the plan of the building, and write it as `after: 12 m`; write "
    "`after: 0` where there is none.",
    find=_find,
    bad=(("- {camera: boulder right, after: 9 m,", "- «{camera: boulder right,"),),
    good=(("boulder right, after: 9 m", "boulder right, after: 0"),),
)

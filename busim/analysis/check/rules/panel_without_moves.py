"""A panel of which it is not said how much it moves."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for number, panel in enumerate(survey.plan.panels):
        if not panel.moves:
            yield Spot(
                f"panels[{number}].moves",
                f"panel {panel.name!r} moves nothing",
                "0 moves a second (planned, or not written)",
                "a rate; one operator, both hands busy: 2 /s (common practice, no source)",
            )


RULE = Rule(
    id="panel-without-moves",
    title="A panel of which it is not said how much it moves",
    severity="note",
    area="masters",
    explanation="Moves go before polls and take the line from them. With none planned, headroom and response are "
    "those of a hall without operators.",
    source="common practice, no source",
    advice="Write the busiest minute's moves a second.",
    find=_find,
    bad=(("moves: 1 /s", "moves: «0"),),
    good=(("moves: 1 /s", "moves: 2 /s"),),
)

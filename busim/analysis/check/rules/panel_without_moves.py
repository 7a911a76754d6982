"""A panel without a rate of moves."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for number, panel in enumerate(survey.plan.panels):
        if not panel.moves:
            yield Spot(
                f"panels[{number}].moves",
                f"panel {panel.name!r} makes no moves",
                "0 moves per second (planned, or the default)",
                "a rate; one operator with both hands busy makes 2 /s (common practice, no source)",
            )


RULE = Rule(
    id="panel-without-moves",
    title="A panel without a rate of moves",
    severity="note",
    area="masters",
    explanation="Moves go before polls and take their time on the line. Without moves in the plan, headroom and "
    "response times are those of a hall without operators.",
    source="common practice, no source",
    advice="Write the moves per second of the busiest minute.",
    find=_find,
    bad=(("moves: 1 /s", "moves: «0"),),
    good=(("moves: 1 /s", "moves: 2 /s"),),
)

"""A load on another line than its supply."""

from __future__ import annotations

from busim.analysis.check.pairs import ends
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import listed


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        ended = {load for _, loads in ends(survey, feed) for load in loads}
        astray = [load.name for load in feed.astray if load.name not in ended]
        if astray:
            yield Spot(
                f"{feed.field}.at",
                f"{feed.supply.name!r} is injected on another line than some of its loads",
                f"at {feed.supply.at!r} (planned); no cable to {listed(astray)}",
                "a station on the line of these loads, or no `at` if the supply stands beside them",
            )


RULE = Rule(
    id="feed-way-unknown",
    title="A load on another line than its supply",
    severity="warning",
    area="supply",
    explanation="The voltages of these loads are computed as if they stood at the supply, without cable loss. The real "
    "cable to them is not in the plan.",
    source="common practice, no source",
    advice="Give each line a supply of its own in the plan, or correct `at`.",
    find=_find,
    bad=(("    fuse: 5 A\n", "    fuse: 5 A\n    at: «speed box\n"),),
    good=(
        ("    fuse: 5 A\n", "    fuse: 5 A\n    at: boulder box\n"),
        ("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    cable: {supply_gauge: AWG 6}\n"),
    ),
)

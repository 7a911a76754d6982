"""A load to which no way from its supply is known."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import listed


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        if feed.astray:
            yield Spot(
                f"{feed.field}.at",
                f"{feed.supply.name!r} is injected on another line than some of what it feeds",
                f"at {feed.supply.at!r} (planned); no way from there to {listed([load.name for load in feed.astray])}",
                "a station of the line on which they are, or no `at` where it stands beside what it feeds",
            )


RULE = Rule(
    id="feed-way-unknown",
    title="A load to which no way from its supply is known",
    severity="warning",
    area="supply",
    explanation="Their voltages are computed as if they stood at the supply, which is kinder than any cable. What "
    "really leads there is in nobody's plan.",
    source="common practice, no source",
    advice="Give each line a supply of its own in the plan, or correct `at`.",
    find=_find,
    bad=(("    fuse: 5 A\n", "    fuse: 5 A\n    at: «speed box\n"),),
    good=(
        ("    fuse: 5 A\n", "    fuse: 5 A\n    at: boulder box\n"),
        ("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    cable: {supply_gauge: AWG 6}\n"),
    ),
)

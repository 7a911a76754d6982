"""A supply without loads."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        if not feed.loads:
            yield Spot(
                f"{feed.field}.name",
                f"supply {feed.supply.name!r} has no loads",
                "no camera and no converter names it (planned)",
                "at least one load, or no such supply",
            )


RULE = Rule(
    id="feeds-nobody",
    title="A supply without loads",
    severity="warning",
    area="supply",
    explanation="Either the site does not need this supply, or the plan counts its loads on another one.",
    source="common practice, no source",
    advice="Name its loads in `feeds`, or delete it from the plan.",
    find=_find,
    bad=(
        (
            "  - name: speed supply",
            "  - {name: «lobby supply, voltage: 12 V, limit: 30 W, fuse: 2 A}\n  - name: speed supply",
        ),
    ),
    good=(
        ("feeds: [boulder box, boulder left,", "feeds: [boulder left,"),
        (
            "  - name: speed supply",
            "  - {name: lobby supply, voltage: 12 V, limit: 30 W, fuse: 2 A, feeds: [boulder box]}\n"
            "  - name: speed supply",
        ),
    ),
)

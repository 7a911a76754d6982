"""A supply that feeds nobody."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        if not feed.loads:
            yield Spot(
                f"{feed.field}.name",
                f"supply {feed.supply.name!r} feeds nobody",
                "no camera and no converter names it (planned)",
                "at least one, or no such supply",
            )


RULE = Rule(
    id="feeds-nobody",
    title="A supply that feeds nobody",
    severity="warning",
    area="supply",
    explanation="Either it is carried up for nothing, or what it should feed hangs on another one that was not "
    "counted for it.",
    source="common practice, no source",
    advice="Name what it feeds, or delete it; a spare one belongs on the list of spares.",
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

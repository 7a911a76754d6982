"""A supply without a fuse in the plan."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        if feed.supply.kind == "dc" and feed.supply.fuse is None and feed.loads:
            yield Spot(
                f"{feed.field}.name",
                f"supply {feed.supply.name!r} has no fuse in the plan",
                f"no fuse for {len(feed.loads)} load{'s' if len(feed.loads) > 1 else ''}",
                "the fuse at its output, or the reason why it needs none",
            )


RULE = Rule(
    id="fuse-not-said",
    title="A supply without a fuse in the plan",
    severity="note",
    area="supply",
    explanation="Without a planned fuse, a crushed cable may smoke in the truss before anything cuts it off. Many "
    "supplies limit their own current. Only a licensed electrician can say whether that protects this cable.",
    source="common practice, no source; the local code decides",
    advice="Write the fuse that a licensed electrician chose, such as `fuse: 3.15 A`. Or silence this rule and name "
    "the protection of the cable in the reason.",
    find=_find,
    bad=(("  - name: boulder supply", "  - name: «boulder supply"), ("    fuse: 5 A\n", "")),
    good=(("fuse: 5 A", "fuse: 3.5 A"),),
)

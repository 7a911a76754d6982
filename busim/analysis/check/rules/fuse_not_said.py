"""A supply without a fuse in the plan."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        if feed.supply.kind == "dc" and feed.supply.fuse is None and feed.loads:
            yield Spot(
                f"{feed.field}.name",
                f"no fuse of {feed.supply.name!r} is written",
                f"nothing, before {len(feed.loads)} loads",
                "the fuse in its output, or a reason why none is needed",
            )


RULE = Rule(
    id="fuse-not-said",
    title="A supply without a fuse in the plan",
    severity="note",
    area="supply",
    explanation="What protects the cable is then nobody's business until a crushed one smokes in the truss. Many "
    "supplies limit their own current; whether that is enough for this cable is a question for whoever is licensed to "
    "answer it.",
    source="common practice, no source; the local code decides",
    advice="Write the fuse, `fuse: 3.15 A`, as a licensed electrician chose it; or silence this with what protects "
    "the cable as the reason.",
    find=_find,
    bad=(("  - name: boulder supply", "  - name: «boulder supply"), ("    fuse: 5 A\n", "")),
    good=(("fuse: 5 A", "fuse: 3.5 A"),),
)

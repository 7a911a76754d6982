"""A fuse smaller than what flows through it."""

from __future__ import annotations

from busim.analysis.check.figures import beyond
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        fuse, amperes = feed.supply.fuse, feed.drawn("peak")
        if fuse is not None and amperes is not None and amperes > fuse:
            yield Spot(
                f"{feed.field}.fuse",
                f"the fuse of {feed.supply.name!r} is smaller than what flows when everything works",
                f"{fuse:g} A (planned), and {beyond(amperes, fuse)} A with everything at its most (computed at "
                f"{feed.volts:g} V)",
                "a fuse above that, and not above what the cable bears",
            )


RULE = Rule(
    id="fuse-below-peak",
    title="A fuse smaller than what flows through it",
    severity="error",
    area="supply",
    explanation="It holds at rest and in rehearsal, and goes in the show, when all motors run. A larger one put in "
    "by hand in that minute is how cables burn.",
    source="common practice, no source; the current is computed with loads of constant power",
    advice="Have the fuse chosen with the cable, by the local code and a licensed electrician; feed less from this "
    "supply where the cable bears no larger one. Never change a fuse for a larger one on site.",
    find=_find,
    bad=(("fuse: 5 A", "fuse: «2 A"),),
    good=(("fuse: 5 A", "fuse: 3.15 A"),),
)

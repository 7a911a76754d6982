"""A fuse smaller than the peak current."""

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
                f"the fuse of {feed.supply.name!r} is smaller than the peak current",
                f"{fuse:g} A (planned), but {beyond(amperes, fuse)} A with all loads at peak (computed at "
                f"{feed.volts:g} V)",
                "a fuse above that current and within the rating of the cable",
            )


RULE = Rule(
    id="fuse-below-peak",
    title="A fuse smaller than the peak current",
    severity="error",
    area="supply",
    explanation="The fuse holds at idle and in rehearsal, and blows in the show when all motors run. A larger fuse "
    "fitted in haste is how cables burn.",
    source="common practice, no source; the current is computed with loads of constant power",
    advice="Have a licensed electrician choose the fuse together with the cable, by the local code. If the cable "
    "allows no larger fuse, put fewer loads on this supply. Never fit a larger fuse on site.",
    find=_find,
    hands_on=True,
    bad=(("fuse: 5 A", "fuse: «2 A"),),
    good=(("fuse: 5 A", "fuse: 3.15 A"),),
)

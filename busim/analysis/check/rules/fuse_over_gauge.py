"""A fuse above the rating of the thinnest wire."""

from __future__ import annotations

from busim.analysis.check.figures import wire
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.physics.electric import fuse_limit


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        fuse, gauge = feed.supply.fuse, feed.thinnest
        if fuse is not None and gauge is not None and fuse > fuse_limit(gauge):
            below = ", derived from that for AWG 18" if gauge > 18 else ""
            yield Spot(
                f"{feed.field}.fuse",
                f"the fuse of {feed.supply.name!r} does not protect the thinnest wire behind it",
                f"{fuse:g} A, the thinnest wire is {wire(gauge)} (planned)",
                f"at most {fuse_limit(gauge):.3g} A (NEC 240.4(D){below}); the local code decides",
            )


RULE = Rule(
    id="fuse-over-gauge",
    title="A fuse above the rating of the thinnest wire",
    severity="error",
    area="supply",
    explanation="A short circuit at a camera then overheats the thin wire in the truss before the fuse in the rack "
    "blows. This is a danger to people, not only to the show.",
    source="NEC 240.4(D): 7 A on AWG 18, 10 on 16, 15 on 14, 20 on 12, 30 on 10 (second-hand); thinner ones "
    "derived with the current density of AWG 18",
    advice="Do not power it. Have a licensed electrician choose fuse and cable by the local code. A thinner branch "
    "needs a fuse of its own where it begins.",
    find=_find,
    hands_on=True,
    bad=(("fuse: 5 A", "fuse: «20 A"),),
    good=(("fuse: 5 A", "fuse: 6.3 A"),),
)

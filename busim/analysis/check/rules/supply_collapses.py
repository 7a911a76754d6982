"""A cable that cannot carry the power at any voltage."""

from __future__ import annotations

from busim.analysis.check.feeds import STATES
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.physics.electric import Collapse


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        for state, solved in feed.solved.items():
            if isinstance(solved, Collapse):
                yield Spot(
                    f"{feed.field}.name",
                    f"what {feed.supply.name!r} feeds asks for more than its cable can carry at any voltage",
                    f"{feed.watts(state):.3g} W {STATES[state]}, over {len(feed.loads)} loads (planned, or as their "
                    f"models say); the voltage collapses (computed from {feed.volts:g} V, copper at 75 C)",
                    f"at most {solved.share:.0%} of that (computed), and much less for a voltage that holds",
                )
                break


RULE = Rule(
    id="supply-collapses",
    title="A cable that cannot carry the power at any voltage",
    severity="error",
    area="supply",
    explanation="A camera takes more current when its voltage falls, which makes it fall further. Above a limit "
    "there is no voltage at which it stays: everything starts, stops and starts again.",
    source="constant-power limit V^2/4R, derived, and for several loads its generalisation (no fixed point, by "
    "Tarski's theorem)",
    advice="Take a thicker supply pair, feed from the middle or from a second supply, or take a higher voltage. "
    "Sizes of cables and fuses: by the local code, by a licensed electrician.",
    find=_find,
    bad=(
        ("  - name: boulder supply", "  - name: «boulder supply"),
        ("cable: {length: 2 m, gauge: AWG 14}", "cable: {length: 120 m, gauge: AWG 14}"),
    ),
    good=(("cable: {length: 2 m, gauge: AWG 14}", "cable: {length: 3 m, gauge: AWG 12}"),),
)

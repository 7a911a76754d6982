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
                    f"the loads of {feed.supply.name!r} need more power than its cable can carry at any voltage",
                    f"{feed.watts(state):.3g} W {STATES[state]}, {len(feed.loads)} loads in all (plan or "
                    f"models); the voltage collapses (computed from {feed.volts:g} V, copper at 75 C)",
                    f"at most {solved.share:.0%} of that power (computed), and much less for a stable voltage",
                )
                break


RULE = Rule(
    id="supply-collapses",
    title="A cable that cannot carry the power at any voltage",
    severity="error",
    area="supply",
    explanation="A camera draws more current when its voltage falls, and the voltage then falls further. Above a limit "
    "there is no stable voltage: everything starts, stops and starts again.",
    source="constant-power limit V^2/4R, derived, and for several loads its generalisation (no fixed point, by "
    "Tarski's theorem)",
    advice="Plan a thicker supply pair, feed from the middle or from a second supply, or use a higher voltage that all "
    "loads allow. A licensed electrician chooses cables and fuses by the local code.",
    find=_find,
    hands_on=True,
    bad=(
        ("  - name: boulder supply", "  - name: «boulder supply"),
        ("cable: {length: 2 m, gauge: AWG 14}", "cable: {length: 120 m, gauge: AWG 14}"),
    ),
    good=(("cable: {length: 2 m, gauge: AWG 14}", "cable: {length: 3 m, gauge: AWG 12}"),),
)

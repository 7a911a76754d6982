"""More voltage drop than advised."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.physics.electric import BRANCH_DROP, WHOLE_DROP, Collapse, drop_advice


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        peak = feed.at_loads("peak")
        start = feed.solved.get("start_up")
        if not peak or isinstance(start, Collapse):
            continue
        found = (pair for state in ("peak", "start_up") for pair in feed.at_loads(state).values())
        low = any(volts < load.least for load, volts in found)
        volts, farthest = min((volts, name) for name, (_, volts) in peak.items())
        lost = feed.volts - volts
        advice = drop_advice(lost / feed.volts)
        if advice and not low:
            yield Spot(
                f"{feed.field}.name",
                f"{feed.supply.name!r} loses much of its voltage on the way to {farthest!r}",
                f"{lost:.2g} V of {feed.volts:g} V, {lost / feed.volts:.1%}, all loads at peak (computed, "
                "copper at 75 C)",
                f"at most {WHOLE_DROP.value:.0%} in all and {BRANCH_DROP.value:.0%} on a branch: advice, the local "
                f"code decides ({advice.source})",
            )


RULE = Rule(
    id="voltage-drop",
    title="More voltage drop than advised",
    severity="note",
    area="supply",
    explanation="Every load gets enough voltage, as planned. The loss warms the cable and uses up the reserve for an "
    "aged connector or one more camera.",
    source="NEC 210.19(A), informational note: 3 % on a branch, 5 % in all",
    advice="Consider a thicker pair or a shorter cable. The local code and a licensed electrician decide.",
    find=_find,
    hands_on=True,
    bad=(
        ("  - name: boulder supply", "  - name: «boulder supply"),
        ("cable: {length: 2 m, gauge: AWG 14}", "cable: {length: 20 m, gauge: AWG 14}"),
    ),
    good=(("cable: {length: 2 m, gauge: AWG 14}", "cable: {length: 5 m, gauge: AWG 14}"),),
)

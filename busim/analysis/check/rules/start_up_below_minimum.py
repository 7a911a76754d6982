"""Cameras that start at once and keep each other from starting."""

from __future__ import annotations

from busim.analysis.check.figures import beyond
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        enough = {name for name, (load, volts) in feed.at_loads("peak").items() if volts >= load.least}
        low = [
            (volts, load)
            for name, (load, volts) in feed.at_loads("start_up").items()
            if volts < load.least and name in enough
        ]
        if low:
            volts, load = min(low, key=lambda pair: pair[0])
            others = f", the lowest of {len(low)} loads below their minimum" if len(low) > 1 else ""
            yield Spot(
                f"{feed.field}.name",
                f"{load.name!r} gets too little voltage when all loads of {feed.supply.name!r} start at once",
                f"{beyond(volts, load.least)} V{others} (computed: {feed.volts:g} V at the supply, "
                "loads of constant power, copper at 75 C)",
                f"at least {load.least:g} V (its model)",
            )


RULE = Rule(
    id="start-up-below-minimum",
    title="Cameras that keep each other from starting",
    severity="error",
    area="supply",
    explanation="After a power cut all cameras start together and draw their highest power together. The voltage sags, "
    "they restart, and this repeats until some of them are switched off.",
    source="loads of constant power along a cable, as for voltage-below-minimum; that all start at once is assumed",
    advice="Switch them on in groups, or plan a thicker supply pair or a second supply. A licensed electrician chooses "
    "cables and fuses by the local code.",
    find=_find,
    hands_on=True,
    bad=(
        ("  - name: boulder supply", "  - name: «boulder supply"),
        ("cable: {length: 2 m, gauge: AWG 14}", "cable: {length: 50 m, gauge: AWG 14}"),
    ),
    good=(("cable: {length: 2 m, gauge: AWG 14}", "cable: {length: 3 m, gauge: AWG 12}"),),
)

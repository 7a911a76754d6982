"""Cameras that all start at once and keep each other from it."""

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
            others = f", the least of {len(low)} that are too low" if len(low) > 1 else ""
            yield Spot(
                f"{feed.field}.name",
                f"when all that {feed.supply.name!r} feeds starts at once, {load.name!r} gets too little voltage",
                f"{beyond(volts, load.least)} V{others} (computed: {feed.volts:g} V at the supply, "
                "loads of constant power, copper at 75 C)",
                f"at least {load.least:g} V (its model)",
            )


RULE = Rule(
    id="start-up-below-minimum",
    title="Cameras that keep each other from starting",
    severity="error",
    area="supply",
    explanation="After a power cut all of them come back together and take their most together. The voltage sags, "
    "they start anew, and it goes on so until somebody pulls plugs.",
    source="loads of constant power along a cable, as for voltage-below-minimum; that all start at once is assumed",
    advice="Switch them on in groups, or take a thicker supply pair or a second supply. Sizes of cables and fuses: "
    "by the local code, by a licensed electrician.",
    find=_find,
    bad=(
        ("  - name: boulder supply", "  - name: «boulder supply"),
        ("cable: {length: 2 m, gauge: AWG 14}", "cable: {length: 50 m, gauge: AWG 14}"),
    ),
    good=(("cable: {length: 2 m, gauge: AWG 14}", "cable: {length: 3 m, gauge: AWG 12}"),),
)

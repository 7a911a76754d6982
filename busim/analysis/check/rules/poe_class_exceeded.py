"""More power on a PoE port than its class provides."""

from __future__ import annotations

from busim.analysis.check.feeds import STATES
from busim.analysis.check.figures import beyond
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        poe = feed.classed
        if poe is None:
            continue
        for state in STATES:
            amperes = feed.drawn(state)
            watts = feed.watts(state) if amperes is None else amperes * feed.volts
            if watts > poe.device_watts:
                yield Spot(
                    f"{feed.field}.poe_class",
                    f"the loads of {feed.supply.name!r} take more than its PoE class leaves at the end of the cable",
                    f"{beyond(watts, poe.device_watts)} W {STATES[state]} (computed) on class "
                    f"{feed.supply.poe_class} (planned)",
                    f"at most {poe.device_watts:g} W for the device, of {poe.source_watts:g} W at the port",
                )
                break


RULE = Rule(
    id="poe-class-exceeded",
    title="More power on a PoE port than its class provides",
    severity="error",
    area="supply",
    explanation="A switch allots power by class and cuts off a port that takes more. It then retries, so a converter "
    "and its whole line come and go.",
    source="IEEE 802.3bt, power at the port and at the device, classes 1 to 8 (from memory)",
    advice="Use a port and an injector of a higher class, or feed some loads from another supply. Check what the "
    "switch can give on all ports together.",
    find=_find,
    hands_on=True,
    bad=(
        ("feeds: [boulder box, boulder left,", "feeds: [boulder left,"),
        (
            "  - name: speed supply",
            "  - {name: rack port, kind: poe, poe_class: «1, voltage: 48 V, feeds: [boulder box]}\n"
            "  - name: speed supply",
        ),
    ),
    good=(
        ("feeds: [boulder box, boulder left,", "feeds: [boulder left,"),
        (
            "  - name: speed supply",
            "  - {name: rack port, kind: poe, poe_class: 3, voltage: 48 V, feeds: [boulder box]}\n"
            "  - name: speed supply",
        ),
    ),
)

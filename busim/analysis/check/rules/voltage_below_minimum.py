"""A camera that gets less voltage than it needs."""

from __future__ import annotations

from busim.analysis.check.feeds import STATES, Feed
from busim.analysis.check.figures import beyond
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey

_FROM_THE_START = (
    "No cable mends this: the supply itself gives less. Plan a supply with a voltage that all its loads allow, or feed "
    "this camera from another one. A licensed electrician chooses supplies and fuses by the local code."
)


def _worst(feed: Feed) -> Spots:
    idle, peak = feed.at_loads("idle"), feed.at_loads("peak")
    for name, (load, volts) in peak.items():
        if volts < load.least:
            at_rest = idle[name][1]
            even = f", and even {STATES['idle']} {beyond(at_rest, load.least)} V" if at_rest < load.least else ""
            yield Spot(
                load.field,
                f"{name!r} gets too little voltage from {feed.supply.name!r}",
                f"{beyond(volts, load.least)} V {STATES['peak']}{even} (computed: {feed.volts:g} V at "
                "the supply, loads of constant power, copper at 75 C)",
                f"at least {load.least:g} V (its model)",
                _FROM_THE_START if feed.volts < load.least else "",
            )


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        yield from _worst(feed)


RULE = Rule(
    id="voltage-below-minimum",
    title="A camera that gets less voltage than it needs",
    severity="error",
    area="supply",
    explanation="When its voltage sags, a camera restarts in the middle of a move or loses unsaved settings, each time "
    "its neighbours move. On the bus that looks like a bad line.",
    source="loads of constant power along a cable, held to IEEE 802.3af and 802.3at figures (second-hand); copper: "
    "HyperPhysics wire table and ASTM B258, x 1.2162 at 75 C (second-hand, NIST)",
    advice="Plan a thicker supply pair, feed from the middle or from a second supply, or use a higher voltage that all "
    "loads allow. A licensed electrician chooses cables and fuses by the local code.",
    find=_find,
    hands_on=True,
    bad=(
        ("limit: 60 W", "limit: 90 W"),
        ("cable: {length: 2 m, gauge: AWG 14}", "cable: {length: 60 m, gauge: AWG 14}"),
        ("- {name: boulder left, bus_id: 2", "- «{name: boulder left, bus_id: 2"),
        ("- {name: boulder right, bus_id: 3", "- «{name: boulder right, bus_id: 3"),
        ("- {name: boulder mats, bus_id: 4", "- «{name: boulder mats, bus_id: 4"),
    ),
    good=(("cable: {length: 2 m, gauge: AWG 14}", "cable: {length: 3 m, gauge: AWG 12}"),),
)

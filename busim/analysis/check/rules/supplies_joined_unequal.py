"""Two supplies of different voltages on one supply pair."""

from __future__ import annotations

from busim.analysis.check.feeds import Feed
from busim.analysis.check.joined import joined, same_voltage
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for first, second, line in joined(survey.site, survey.feeds):
        if not same_voltage(first, second):
            low, high = sorted((first, second), key=lambda feed: feed.supply.voltage.high)
            volts = high.supply.voltage.high
            yield Spot(
                f"{second.field}.at",
                f"{low.supply.name!r} and {high.supply.name!r} are joined on line {line!r} at different voltages",
                f"{low.supply.voltage.high:g} V and {volts:g} V (planned), so {_bears(low, volts)}",
                "one voltage on one supply pair, or `supply_pair: cut` at the position where the pair is cut",
            )


def _bears(low: Feed, volts: float) -> str:
    """What the most delicate load of the lower supply bears."""
    known = [load for load in low.loads if load.most]
    if not known:
        return f"{low.loads[0].name!r} may get {volts:g} V; no maximum is known"
    least = min(known, key=lambda load: load.most)
    verdict = "too much for it" if volts > least.most else "within it"
    return f"{least.name!r} may get {volts:g} V; it bears at most {least.most:g} V (its model): {verdict}"


RULE = Rule(
    id="supplies-joined-unequal",
    title="Two supplies of different voltages on one supply pair",
    severity="error",
    area="supply",
    explanation="The higher supply drives current into the lower one, through a fuse that was not chosen for it. Every "
    "load on the pair gets the higher voltage as soon as the lower supply is off or gives way. Cameras that are built "
    "for the lower one can burn.",
    source="common practice, no source; the local code decides",
    advice="Do not power it. Have a licensed electrician separate the two parts, with both supplies off and checked. "
    "Then write `supply_pair: cut` at the position behind the cut, or `supply_pair: past` at a camera with a supply of "
    "its own.",
    hands_on=True,
    find=_find,
    bad=(
        ("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    cable: {supply_gauge: AWG 6}\n"),
        ("    fuse: 5 A\n", "    fuse: 5 A\n    at: boulder box\n"),
        ("boulder right, boulder mats]\n  - name: speed", "boulder right]\n  - name: speed"),
        (
            "  - name: speed supply",
            "  - {name: mats supply, voltage: 12 V, limit: 30 W, fuse: 2 A, at: «boulder mats, feeds: [boulder mats]}\n"
            "  - name: speed supply",
        ),
    ),
    good=(
        ("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    cable: {supply_gauge: AWG 6}\n"),
        ("    fuse: 5 A\n", "    fuse: 5 A\n    at: boulder box\n"),
        ("boulder right, boulder mats]\n  - name: speed", "boulder right]\n  - name: speed"),
        ("{camera: boulder mats, after: 14 m}", "{camera: boulder mats, after: 14 m, supply_pair: past}"),
        (
            "  - name: speed supply",
            "  - {name: mats supply, voltage: 12 V, limit: 30 W, fuse: 2 A, at: boulder mats, feeds: [boulder mats]}\n"
            "  - name: speed supply",
        ),
    ),
)

"""Two supplies on one supply pair."""

from __future__ import annotations

from busim.analysis.check.joined import joined, same_voltage
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for first, second, line in joined(survey.site, survey.feeds):
        if same_voltage(first, second):
            yield Spot(
                f"{second.field}.at",
                f"{second.supply.name!r} and {first.supply.name!r} are both injected into the cable of line {line!r}",
                "two supplies on one supply pair (planned)",
                "one supply, or `supply_pair: cut` at the position where the pair is cut between the two parts",
            )


RULE = Rule(
    id="supplies-joined",
    title="Two supplies on one supply pair",
    severity="warning",
    area="supply",
    explanation="If the pair is continuous, the stronger supply feeds the weaker one's part through a fuse that was "
    "not chosen for it. With one supply off, the cable is still live and can hurt anybody who works on it.",
    source="common practice, no source; the local code decides",
    advice="Have a licensed electrician cut the supply pair between the two parts, label it and inspect it, with both "
    "supplies off and checked. Then write `supply_pair: cut` at the position behind the cut.",
    find=_find,
    hands_on=True,
    bad=(
        ("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    cable: {supply_gauge: AWG 6}\n"),
        ("    fuse: 5 A\n", "    fuse: 5 A\n    at: boulder box\n"),
        ("boulder right, boulder mats]\n  - name: speed", "boulder right]\n  - name: speed"),
        (
            "  - name: speed supply",
            "  - {name: mats supply, voltage: 13.8 V, limit: 30 W, fuse: 2 A, at: «boulder mats, "
            "feeds: [boulder mats]}\n"
            "  - name: speed supply",
        ),
    ),
    good=(
        ("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    cable: {supply_gauge: AWG 6}\n"),
        ("    fuse: 5 A\n", "    fuse: 5 A\n    at: boulder box\n"),
        ("boulder right, boulder mats]\n  - name: speed", "boulder right]\n  - name: speed"),
        ("{camera: boulder mats, after: 14 m}", "{camera: boulder mats, after: 14 m, supply_pair: cut}"),
        (
            "  - name: speed supply",
            "  - {name: mats supply, voltage: 12 V, limit: 30 W, fuse: 2 A, at: boulder mats, feeds: [boulder mats]}\n"
            "  - name: speed supply",
        ),
    ),
)

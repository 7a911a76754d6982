"""Two supplies on one supply pair."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    lines = {one.name: wiring.line.name for wiring in survey.wirings for one in wiring.hanging}
    first: dict[str, str] = {}
    for feed in survey.feeds:
        line = lines.get(feed.supply.at or "")
        if line is None or feed.supply.kind != "dc" or not feed.loads:
            continue
        if line in first:
            yield Spot(
                f"{feed.field}.at",
                f"{feed.supply.name!r} and {first[line]!r} are both injected into the cable of line {line!r}",
                "two supplies on one supply pair, unless it is cut between them (planned)",
                "one supply, or a supply pair that is cut between the two parts",
            )
        first.setdefault(line, feed.supply.name)


RULE = Rule(
    id="supplies-joined",
    title="Two supplies on one supply pair",
    severity="warning",
    area="supply",
    explanation="If the pair is continuous, the stronger supply feeds the weaker one's part through a fuse that was "
    "not chosen for it. With one supply off, the cable is still live and can hurt anybody who works on it.",
    source="common practice, no source; the local code decides",
    advice="Have a licensed electrician cut the supply pair between the two parts, label it and inspect it, with both "
    "supplies off and checked. Then silence this rule with that as the reason.",
    find=_find,
    hands_on=True,
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
    ),
)

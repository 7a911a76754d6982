"""A load that the supply pair does not reach."""

from __future__ import annotations

from busim.analysis.check.pairs import ends
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import listed


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        for (line, position), loads in ends(survey, feed):
            wire = survey.wires[line]
            place = wire.line.order[position]
            yield Spot(
                f"{wire.field}.order[{position}].supply_pair",
                f"{feed.supply.name!r} does not reach {listed(loads)} on line {wire.name!r}",
                f"`supply_pair: {place.supply_pair}` at {place.name!r} (planned)",
                f"a supply pair from {feed.supply.at!r} to them, or another supply for them",
            )


RULE = Rule(
    id="load-off-the-pair",
    title="A load that the supply pair does not reach",
    severity="error",
    area="supply",
    explanation="The plan feeds the load along the line, and says too that the supply pair ends before it or goes past "
    "it. One of the two is wrong: on site the camera stays dead, or somebody joins a pair that was cut on purpose.",
    source="common practice, no source",
    advice="Name the supply that truly feeds it, in its `supply` or in the `feeds` of that supply; or correct "
    "`supply_pair` if the pair is joined there. Never join a pair on site to make the plan true.",
    find=_find,
    hands_on=True,
    bad=(
        ("    fuse: 5 A\n", "    fuse: 5 A\n    at: boulder box\n"),
        ("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    cable: {supply_gauge: AWG 6}\n"),
        ("{camera: boulder mats, after: 14 m}", "{camera: boulder mats, after: 14 m, supply_pair: «past}"),
    ),
    good=(
        ("    fuse: 5 A\n", "    fuse: 5 A\n    at: boulder box\n"),
        ("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    cable: {supply_gauge: AWG 6}\n"),
        ("{camera: boulder mats, after: 14 m}", "{camera: boulder mats, after: 14 m, supply_pair: joined}"),
    ),
)

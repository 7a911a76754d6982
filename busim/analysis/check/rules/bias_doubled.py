"""A bias at more than one place."""

from __future__ import annotations

from itertools import islice

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        places = wiring.bias_places
        for name, field in islice(places.items(), 1, None):
            first = next(iter(places))
            yield Spot(
                field,
                f"line {wiring.line.name!r} has a bias at {name!r} beside the one at {first!r}",
                f"a bias at {len(places)} places (planned)",
                "at one place of the line",
            )


RULE = Rule(
    id="bias-doubled",
    title="A bias at more than one place",
    severity="warning",
    area="cable",
    explanation="Each bias loads the drivers like many receivers. With two or three, drivers no longer reach the "
    "level they must, and where the supplies of the two differ, current flows through the pair from one to the other.",
    source="MODBUS over Serial Line V1.02, 3.4.6 (one place for the whole line); TI SLLA272 sec. 8 (a bias costs "
    "up to 20 unit loads)",
    advice="Leave the one at the converter on, and switch the others off.",
    find=_find,
    bad=(
        ("boulder left, id: 2", "boulder left, bias: true, id: 2"),
        ("boulder mats, id: 4", "boulder mats, bias: «true, id: 4"),
    ),
    good=(("boulder left, id: 2", "boulder left, bias: true, id: 2"),),
)

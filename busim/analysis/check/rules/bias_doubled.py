"""Bias at more than one place."""

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
                f"line {wiring.line.name!r} has bias at {name!r} as well as at {first!r}",
                f"bias at {len(places)} places (planned)",
                "bias at one place of the line",
            )


RULE = Rule(
    id="bias-doubled",
    title="Bias at more than one place",
    severity="warning",
    area="cable",
    explanation="Each bias loads the drivers like many receivers. With two or three, drivers no longer reach the "
    "required level. If the bias voltages differ, current flows through the pair from one to the other.",
    source="MODBUS over Serial Line V1.02, 3.4.6 (one place for the whole line); TI SLLA272 sec. 8 (a bias costs "
    "up to 20 unit loads)",
    advice="Leave the bias at the converter on, and switch off the others.",
    find=_find,
    hands_on=True,
    bad=(
        ("boulder left, bus_id: 2", "boulder left, bias: true, bus_id: 2"),
        ("boulder mats, bus_id: 4", "boulder mats, bias: «true, bus_id: 4"),
    ),
    good=(("boulder left, bus_id: 2", "boulder left, bias: true, bus_id: 2"),),
)

"""Bias that overloads the drivers."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.physics.electric import LEAST_DRIVER_LOAD, driver_load


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        if wiring.too_many_terminators:
            continue  # they pull the wires together; other resistors would mend nothing
        if wiring.hung is None:
            continue
        hung = wiring.hung[0]
        load = driver_load(hung)
        places = sum(len(at.biases) for at in hung)
        if load < LEAST_DRIVER_LOAD and places and wiring.unit_loads_fit:
            yield Spot(
                f"{wiring.bias_field}.ohms",
                f"bias, terminators and receivers overload the drivers of line {wiring.line.name!r}",
                f"{load:.1f} ohm between the wires (computed), {wiring.line.bias.ohms:g} ohm pull-up and pull-down at "
                f"{places} of its stations (planned)",
                f"at least {LEAST_DRIVER_LOAD:g} ohm, at which a driver still gives 1.5 V (TIA/EIA-485-A)",
            )


RULE = Rule(
    id="bias-too-strong",
    title="Bias that overloads the drivers",
    severity="warning",
    area="cable",
    explanation="A driver is made for a certain load. With a stronger bias it must also overcome the bias for every 0. "
    "The level sinks, and the far station misreads it first.",
    source="TIA/EIA-485-A via ADI AN-960 (1.5 V into 54 ohm, from memory); the load itself is computed",
    advice="Use larger resistors: about 560 ohm each for 5 V and two terminators of 120 ohm.",
    find=_find,
    hands_on=True,
    bad=(("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    bias: {at: [boulder box], ohms: «100 ohm}\n"),),
    good=(("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    bias: {at: [boulder box], ohms: 560 ohm}\n"),),
)

"""A bias too weak for its line."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.physics.electric import THRESHOLD, bias_divider, bias_resistor, receiver_reads


def _resistors(volts: float, impedance: float) -> str:
    """The resistor values that two published sources give."""
    if volts <= THRESHOLD:
        return f"no resistor is small enough at {volts:g} V"
    formula, divider = bias_resistor(volts, 0.25, impedance), bias_divider(volts, impedance / 2, THRESHOLD)
    return (
        f"TI SLLA272 sec. 7 gives {formula:.0f} ohm for 250 mV with 32 unit loads; with two terminators alone "
        f"at most {divider:.0f} ohm (derived)"
    )


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        if wiring.too_many_terminators:
            continue  # they pull the wires together; other resistors would mend nothing
        at = [(volts, one) for one, volts in wiring.undriven if receiver_reads(volts, fail_safe=one.fail_safe) != 1]
        if not at:
            continue
        volts, weakest = min(at, key=lambda pair: pair[0])
        bias = wiring.line.bias
        yield Spot(
            f"{wiring.bias_field}.ohms",
            f"the bias of line {wiring.line.name!r} is too weak: the idle level at {weakest.name!r} is not a certain 1",
            f"{volts * 1000:.0f} mV there (computed); {bias.ohms:g} ohm pull-up and pull-down at "
            f"{bias.volts:g} V (planned)",
            f"at least {THRESHOLD * 1000:g} mV at every station (ADI AN-960 table 3); "
            f"{_resistors(bias.volts, wiring.line.cable.impedance)}",
        )


RULE = Rule(
    id="bias-too-weak",
    title="A bias too weak for its line",
    severity="warning",
    area="cable",
    explanation="Two terminators pull the wires together harder than weak resistors pull them apart. A long thin cable "
    "leaves even less at its far end. A receiver there reads noise as start bits while no station sends.",
    source="ADI AN-960 table 3 (+200 mV); TI SLLA272 sec. 7; the voltages are solved as a network of all resistors, "
    "receivers and the copper",
    advice="Use smaller resistors (but see `busim explain bias-too-strong`), or terminators with a capacitor in "
    "series.",
    find=_find,
    hands_on=True,
    bad=(("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    bias: {at: [boulder box], ohms: «2 kohm}\n"),),
    good=(("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    bias: {at: [boulder box], ohms: 560 ohm}\n"),),
)

"""A line without bias."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import listed


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        floating = [one.name for one in wiring.hanging if not one.fail_safe]
        if not wiring.biased and floating:
            yield Spot(
                wiring.bias_field,
                f"line {wiring.line.name!r} has no bias: its level between exchanges is undefined",
                f"no bias (planned), and receivers not marked fail-safe: {listed(floating)}",
                "bias at one place, or true fail-safe receivers at all stations",
            )


RULE = Rule(
    id="bias-missing",
    title="A line without bias",
    severity="warning",
    area="cable",
    explanation="Between two exchanges no driver holds the pair. Two terminators pull it to 0 V, where a receiver may "
    "read either level. False start bits then precede good replies. A stream of them keeps a MODBUS camera waiting for "
    "silence.",
    source="ADI AN-960 table 3 (between -200 and +200 mV undefined); TI SLLA272 sec. 7; MODBUS over Serial Line "
    "V1.02, 3.4.6",
    advice="Switch on the bias of one station, preferably the converter. Or fit one pull-up and one pull-down resistor "
    "at one place. If every station has a true fail-safe receiver, write `fail_safe: true` in each driver.",
    find=_find,
    hands_on=True,
    bad=(("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    bias: «false\n"),),
    good=(
        ("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    bias: false\n"),
        ("    endpoint: 198.51.100.44:15001", "    bias: true\n    endpoint: 198.51.100.44:15001"),
    ),
)

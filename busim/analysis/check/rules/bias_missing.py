"""A line that nobody holds at idle."""

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
                f"nothing holds line {wiring.line.name!r} at idle while nobody drives it",
                f"no bias (planned), and receivers that are not said to be fail-safe: {listed(floating)}",
                "one bias, or true fail-safe receivers everywhere",
            )


RULE = Rule(
    id="bias-missing",
    title="A line that nobody holds at idle",
    severity="warning",
    area="cable",
    explanation="Between two exchanges nobody drives the pair, and two terminators pull it to 0 V, where a "
    "receiver may read anything. False start bits then stand before good replies, and a stream of them keeps a MODBUS "
    "camera waiting for silence.",
    source="ADI AN-960 table 3 (between -200 and +200 mV undefined); TI SLLA272 sec. 7; MODBUS over Serial Line "
    "V1.02, 3.4.6",
    advice="Switch on the bias of one station, best of the converter, or put a resistor up and one down at one "
    "place; or say `fail_safe: true` in the driver of every station that has such a receiver.",
    find=_find,
    bad=(("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    bias: «false\n"),),
    good=(
        ("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    bias: false\n"),
        ("    endpoint: 198.51.100.44:15001", "    bias: true\n    endpoint: 198.51.100.44:15001"),
    ),
)

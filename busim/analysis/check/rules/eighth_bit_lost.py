"""A character format with fewer than 8 data bits, for a protocol that needs all 8."""

from __future__ import annotations

from busim.analysis.check.characters import loses_bits
from busim.analysis.check.examples import delivered
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        if loses_bits(wire.line.format, wire.protocol):
            yield Spot(
                f"{wire.field}.format",
                f"the characters of line {wire.line.name!r} have too few data bits for {wire.line.protocol}",
                f"{wire.line.format.data_bits} data bits",
                "8 data bits",
            )


RULE = Rule(
    id="eighth-bit-lost",
    title="Characters with fewer than 8 data bits",
    severity="error",
    area="settings",
    explanation="The upper bit of every byte is lost, so no checksum ever matches. No camera answers, on a line that "
    "looks busy.",
    source="MODBUS over Serial Line V1.02, 2.5.1 (8 data bits in RTU mode, from memory)",
    advice="Choose a format with 8 data bits.",
    find=_find,
    bad=(
        (
            "    baud: 115200 Bd\n    format: 8E1\n    protocol: modbus-rtu\n",
            "    baud: 115200 Bd\n    format: «7E1\n    protocol: modbus-rtu\n",
        ),
    ),
    good=(
        (
            "    baud: 115200 Bd\n    format: 8E1\n    protocol: modbus-rtu\n",
            "    baud: 115200 Bd\n    format: 8N2\n    protocol: modbus-rtu\n",
        ),
        *delivered("factory_baud: 115200 Bd, factory_format: 8N2"),
    ),
)

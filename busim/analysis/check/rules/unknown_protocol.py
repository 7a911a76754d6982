"""A protocol that is not there, or whose file has mistakes."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        if wire.trouble is not None:
            yield Spot(
                f"{wire.field}.protocol",
                f"the protocol of line {wire.line.name!r} cannot be used: {wire.trouble.what}",
                wire.trouble.found or repr(wire.line.protocol),
                wire.trouble.expected or "a protocol without mistakes",
                wire.trouble.mend or "",
            )


RULE = Rule(
    id="unknown-protocol",
    title="A protocol that cannot be used",
    severity="error",
    area="settings",
    explanation="Without its protocol nothing on this line can be checked, computed or run.",
    source="the protocols that are there",
    advice="Name one that busim has or a file beside the plan; `busim prove` tries a file, `busim new protocol` "
    "begins one.",
    find=_find,
    bad=(
        (
            "    baud: 115200 Bd\n    format: 8E1\n    protocol: modbus-rtu\n",
            "    baud: 115200 Bd\n    format: 8E1\n    protocol: «modbus-rto\n",
        ),
    ),
    good=(
        (
            "    baud: 115200 Bd\n    format: 8E1\n    protocol: modbus-rtu\n",
            "    baud: 115200 Bd\n    format: 8E1\n    protocol: tagged\n",
        ),
    ),
)

"""A dialect that is not there, or whose file has mistakes."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        if wire.trouble is not None:
            yield Spot(
                f"{wire.field}.dialect",
                f"the dialect of line {wire.line.name!r} cannot be used: {wire.trouble.what}",
                wire.trouble.found or repr(wire.line.dialect),
                wire.trouble.expected or "a dialect without mistakes",
                wire.trouble.mend or "",
            )


RULE = Rule(
    id="unknown-dialect",
    title="A dialect that cannot be used",
    severity="error",
    area="settings",
    explanation="Without its dialect nothing on this line can be checked, computed or run.",
    source="the dialects that are there",
    advice="Name one that busim has or a file beside the plan; `busim prove` tries a file, `busim new dialect` "
    "begins one.",
    find=_find,
    bad=(
        (
            "    baud: 115200 Bd\n    format: 8E1\n    dialect: modbus-rtu\n",
            "    baud: 115200 Bd\n    format: 8E1\n    dialect: «modbus-rto\n",
        ),
    ),
    good=(
        (
            "    baud: 115200 Bd\n    format: 8E1\n    dialect: modbus-rtu\n",
            "    baud: 115200 Bd\n    format: 8E1\n    dialect: tagged\n",
        ),
    ),
)

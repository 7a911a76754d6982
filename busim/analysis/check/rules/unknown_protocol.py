"""A protocol that is not there, or whose file has mistakes."""

from __future__ import annotations

from busim.analysis.check.rule import Rule
from busim.analysis.check.unresolved import told

RULE = Rule(
    id="unknown-protocol",
    title="A protocol that cannot be used",
    severity="error",
    area="settings",
    explanation="Without its protocol nothing on this line can be checked, computed or run.",
    source="the protocols that are there",
    advice="Name one that busim has or a file beside the plan; `busim prove` tries a file, `busim new protocol` "
    "begins one.",
    find=told("unknown-protocol"),
    refuses=True,
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

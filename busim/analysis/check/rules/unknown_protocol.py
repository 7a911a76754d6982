"""A protocol that does not exist, or whose file has mistakes."""

from __future__ import annotations

from busim.analysis.check.rule import Rule
from busim.analysis.check.unresolved import told

RULE = Rule(
    id="unknown-protocol",
    title="A protocol that cannot be used",
    severity="error",
    area="settings",
    explanation="Without its protocol this line cannot be checked, computed or run.",
    source="the protocols that busim finds",
    advice="Name one of busim's protocols or a file beside the plan. `busim prove` tests a file, and `busim new "
    "protocol` writes a first one.",
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

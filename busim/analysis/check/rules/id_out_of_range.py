"""A bus ID that the line's protocol cannot carry."""

from __future__ import annotations

from busim.analysis.check.rule import Rule
from busim.analysis.check.unresolved import told

RULE = Rule(
    id="id-out-of-range",
    title="A bus ID that the protocol does not have",
    severity="error",
    area="addresses",
    explanation="Nobody can ask this camera: the number does not fit the address field, or the standard keeps it for "
    "something else, and a camera that was set to it may be hard to get back.",
    source="the protocol; for modbus-rtu MODBUS over Serial Line V1.02, p. 8 (1 to 247)",
    advice="Choose a free ID within the range of the protocol.",
    find=told("id-out-of-range"),
    refuses=True,
    bad=(("boulder right, id: 3", "boulder right, id: «248"),),
    good=(("boulder right, id: 3", "boulder right, id: 247"),),
)

"""A camera on the ID that means everybody."""

from __future__ import annotations

from busim.analysis.check.rule import Rule
from busim.analysis.check.unresolved import told

RULE = Rule(
    id="broadcast-id",
    title="A camera on the ID that means everybody",
    severity="error",
    area="addresses",
    explanation="Whatever is meant for this camera alone is obeyed by every camera of the line, and in most protocols "
    "nobody answers a broadcast, so that its values can never be read.",
    source="the protocol; for modbus-rtu MODBUS over Serial Line V1.02, p. 8 (0 is broadcast)",
    advice="Give it an ID of its own.",
    find=told("broadcast-id"),
    refuses=True,
    bad=(("boulder right, id: 3", "boulder right, id: «0"),),
    good=(("boulder right, id: 3", "boulder right, id: 5"),),
)

"""A camera on the broadcast ID."""

from __future__ import annotations

from busim.analysis.check.rule import Rule
from busim.analysis.check.unresolved import told

RULE = Rule(
    id="broadcast-id",
    title="A camera on the broadcast ID",
    severity="error",
    area="addresses",
    explanation="Every camera on the line obeys a request meant for this one. In most protocols no camera answers a "
    "broadcast, so its values can never be read.",
    source="the protocol; for modbus-rtu MODBUS over Serial Line V1.02, p. 8 (0 is broadcast)",
    advice="Give the camera an ID of its own.",
    find=told("broadcast-id"),
    refuses=True,
    bad=(("boulder right, bus_id: 3", "boulder right, bus_id: «0"),),
    good=(("boulder right, bus_id: 3", "boulder right, bus_id: 5"),),
)

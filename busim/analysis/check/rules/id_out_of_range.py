"""A bus ID outside the range of the protocol."""

from __future__ import annotations

from busim.analysis.check.rule import Rule
from busim.analysis.check.unresolved import told

RULE = Rule(
    id="id-out-of-range",
    title="A bus ID outside the range of the protocol",
    severity="error",
    area="addresses",
    explanation="No master can ask this camera. The number does not fit the address field, or the standard reserves "
    "it. A camera set to it may be hard to recover.",
    source="the protocol; for modbus-rtu MODBUS over Serial Line V1.02, p. 8 (1 to 247)",
    advice="Choose a free ID within the range of the protocol.",
    find=told("id-out-of-range"),
    refuses=True,
    bad=(("boulder right, bus_id: 3", "boulder right, bus_id: «248"),),
    good=(("boulder right, bus_id: 3", "boulder right, bus_id: 247"),),
)

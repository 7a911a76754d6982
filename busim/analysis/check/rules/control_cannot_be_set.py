"""A panel control that can only be read."""

from __future__ import annotations

from busim.analysis.check.rule import Rule
from busim.analysis.check.unresolved import told

RULE = Rule(
    id="control-cannot-be-set",
    title="A panel control that can only be read",
    severity="error",
    area="masters",
    explanation="The camera refuses every change, and each change costs the line an exchange. On a panel it looks like "
    "a broken knob.",
    source="the camera models",
    advice="Put the value into a poll group, and remove the control from the panel.",
    find=told("control-cannot-be-set"),
    refuses=True,
    bad=(("controls: [iris, master_black]", "controls: [iris, master_black, «temperature]"),),
    good=(("values: [tally, temperature]", "values: [tally, temperature, serial]"),),
)

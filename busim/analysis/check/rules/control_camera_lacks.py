"""A panel control that no camera of the panel has."""

from __future__ import annotations

from busim.analysis.check.rule import Rule
from busim.analysis.check.unresolved import told

RULE = Rule(
    id="control-camera-lacks",
    title="A panel control that no camera of the panel has",
    severity="error",
    area="masters",
    explanation="The knob does nothing on any camera, for instance iris on fixed lenses. The operator turns it further "
    "and further. Some controllers repeat such a command until they count the camera as offline.",
    source="the camera models",
    advice="Remove the control from the panel, or correct its name.",
    find=told("control-camera-lacks"),
    refuses=True,
    bad=(("controls: [iris, master_black]", "controls: [iris, master_black, «tilt_of_the_roof]"),),
    good=(("controls: [iris, master_black]", "controls: [iris, master_black, gain]"),),
)

"""A panel control that a camera does not have."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for number, panel in enumerate(survey.plan.panels):
        for place, control in enumerate(panel.controls):
            lacking = [name for name in panel.cameras if survey.lacks(name, control)]
            if lacking:
                yield Spot(
                    f"panels[{number}].controls[{place}]",
                    f"panel {panel.name!r} moves {control!r}, which {len(lacking)} of its cameras do not have",
                    ", ".join(f"{name!r} ({survey.cameras[name][1].model})" for name in lacking[:4]),
                    "a parameter of every camera's model",
                )


RULE = Rule(
    id="control-camera-lacks",
    title="A panel control that a camera does not have",
    severity="error",
    area="masters",
    explanation="The knob does nothing on this camera, for instance iris on a fixed lens, and the operator turns it "
    "further and further. Some controllers repeat such a command until they take the camera for dead.",
    source="the camera models",
    advice="Take the control from the panel, or give these cameras a panel of their own.",
    find=_find,
    bad=(("controls: [iris, master_black]", "controls: [iris, master_black, «tilt_of_the_roof]"),),
    good=(("controls: [iris, master_black]", "controls: [iris, master_black, gain]"),),
)

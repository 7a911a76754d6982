"""A panel control that can only be read."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for number, panel in enumerate(survey.plan.panels):
        for place, control in enumerate(panel.controls):
            fixed = [name for name in panel.cameras if survey.reads_only(name, control)]
            if fixed:
                yield Spot(
                    f"panels[{number}].controls[{place}]",
                    f"panel {panel.name!r} moves {control!r}, which cameras only report",
                    ", ".join(f"{name!r} ({survey.cameras[name][1].model})" for name in fixed[:4]),
                    "a parameter that can be set",
                )


RULE = Rule(
    id="control-cannot-be-set",
    title="A panel control that can only be read",
    severity="error",
    area="masters",
    explanation="Each touch is refused by the camera and costs the line an exchange. On a panel it looks like a "
    "broken knob.",
    source="the camera models",
    advice="Put the value into a poll group instead, and take the control from the panel.",
    find=_find,
    bad=(("controls: [iris, master_black]", "controls: [iris, master_black, «temperature]"),),
    good=(("values: [tally, temperature]", "values: [tally, temperature, serial]"),),
)

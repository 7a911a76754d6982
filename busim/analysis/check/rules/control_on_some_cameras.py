"""A panel control that only some cameras of the panel have."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for panel in survey.site.panels:
        moved = {(one.camera.name, one.control) for one in panel.commands}
        for place, control in enumerate(panel.panel.controls):
            known = [name for name in panel.panel.cameras if survey.site.cameras[name].spoken is not None]
            without = [name for name in known if (name, control) not in moved]
            if without and len(without) < len(panel.panel.cameras):
                named = (f"{name!r} ({survey.cameras[name][1].model})" for name in without[:4])
                yield Spot(
                    f"{panel.field}.controls[{place}]",
                    f"panel {panel.panel.name!r} has {control!r}, which {len(without)} of its cameras lack",
                    ", ".join(named) + (f" and {len(without) - 4} more" if len(without) > 4 else ""),
                    "a control that every camera has, or an operator who knows",
                )


RULE = Rule(
    id="control-on-some-cameras",
    title="A panel control that only some cameras of the panel have",
    severity="note",
    area="masters",
    explanation="A desk over mixed models has the controls that each camera has. On the others the knob does nothing. "
    "busim moves it on the cameras that have it, and sends nothing to the others.",
    source="the camera models",
    advice="Check that your controller sends nothing to a camera that lacks a control. Tell the operators.",
    find=_find,
    bad=(
        ("controls: [iris, master_black]", "controls: [«iris, master_black]"),
        ("speed start, bus_id: 21", "speed start, model: minicam, unpowered: passes, factory_format: 8E1, bus_id: 21"),
        ("[iris, gain, master_black]", "[gain, master_black]"),
    ),
    good=(("controls: [iris, master_black]", "controls: [gain, master_black]"),),
)

"""A camera on a panel that no master polls."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for number, panel in enumerate(survey.plan.panels):
        for place, name in enumerate(panel.cameras):
            if not survey.asks_any(name):
                yield Spot(
                    f"panels[{number}].cameras[{place}]",
                    f"panel {panel.name!r} controls camera {name!r}, which no master polls",
                    "no poll group with a value of this camera",
                    "a master that polls it",
                )


RULE = Rule(
    id="panel-camera-not-polled",
    title="A camera on a panel that no master polls",
    severity="warning",
    area="masters",
    explanation="The panel shows the last value that it set, not the camera's real value. After a restart, or after a "
    "move from another panel, the picture jumps at the first touch of a knob. A dead camera looks alive.",
    source="common practice, no source",
    advice="Give the master a poll group with the values that this panel controls.",
    find=_find,
    bad=(
        (
            "    groups:\n      - {name: fast, values: [iris, gain, master_black], every: 250 ms}\n"
            "      - {name: slow, values: [tally, temperature], every: 2 s}\n",
            "",
        ),
        (
            "cameras: [boulder left, boulder right, boulder mats, speed start, speed finish]",
            "cameras: [«boulder left, «boulder right, «boulder mats, «speed start, «speed finish]",
        ),
    ),
    good=(("values: [iris, gain, master_black]", "values: [iris, master_black]"),),
)

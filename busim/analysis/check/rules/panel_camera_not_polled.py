"""A panel whose camera nobody polls."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for number, panel in enumerate(survey.plan.panels):
        for place, name in enumerate(panel.cameras):
            if not any(asker.master.groups for asker in survey.asked[name]):
                yield Spot(
                    f"panels[{number}].cameras[{place}]",
                    f"panel {panel.name!r} controls camera {name!r}, which nobody polls",
                    "no poll group at any master that asks it",
                    "a master that polls it",
                )


RULE = Rule(
    id="panel-camera-not-polled",
    title="A panel whose camera nobody polls",
    severity="warning",
    area="masters",
    explanation="The panel shows what was set last and not what is so. A camera that was restarted or moved from "
    "another panel jumps at the first touch of a knob, and a dead one looks alive.",
    source="common practice, no source",
    advice="Give the master a poll group with the values that this panel moves.",
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

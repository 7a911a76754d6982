"""A master that neither polls nor moves anything."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    moving = {panel.master for panel in survey.plan.panels}
    for path, master in survey.masters.values():
        if not master.groups and master.name not in moving:
            yield Spot(
                f"{path}.name",
                f"master {master.name!r} neither polls nor moves anything",
                "no poll group and no panel",
                "poll groups, or a panel",
            )


RULE = Rule(
    id="master-asks-nothing",
    title="A master that neither polls nor moves anything",
    severity="note",
    area="masters",
    explanation="The budget and every run of this plan show an idle line. If the real controller polls, the figures "
    "are far too good.",
    source="common practice, no source",
    advice="Write its poll groups with their rates, or remove the master.",
    find=_find,
    bad=(
        (
            "    groups:\n      - {name: fast, values: [iris, gain, master_black], every: 250 ms}\n"
            "      - {name: slow, values: [tally, temperature], every: 2 s}\n",
            "",
        ),
        (
            "panels:\n  - name: shading desk\n    master: controller\n"
            "    cameras: [boulder left, boulder right, boulder mats, speed start, speed finish]\n"
            "    controls: [iris, master_black]\n    moves: 1 /s\n",
            "",
        ),
        ("  - name: controller\n", "  - name: «controller\n"),
    ),
    good=(
        (
            "panels:\n  - name: shading desk\n    master: controller\n"
            "    cameras: [boulder left, boulder right, boulder mats, speed start, speed finish]\n"
            "    controls: [iris, master_black]\n    moves: 1 /s\n",
            "",
        ),
    ),
)

"""A camera or converter that no supply feeds."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    if not survey.plan.supplies:
        return
    fed = {load.name for feed in survey.feeds for load in feed.loads}
    for kind, entries in (("camera", survey.cameras), ("converter", survey.converters)):
        for name, (field, _) in entries.items():
            if name not in fed:
                yield Spot(
                    f"{field}.name",
                    f"no supply feeds {kind} {name!r}",
                    f"none of {len(survey.plan.supplies)} supplies (planned)",
                    "a supply that names it in `feeds`, or `supply` in its entry",
                )


RULE = Rule(
    id="without-supply",
    title="A camera or converter that no supply feeds",
    severity="warning",
    area="supply",
    explanation="On rig day it gets the nearest plug with a connector that fits. Nobody has checked the voltage, the "
    "fuse and the return path of that plug.",
    source="common practice, no source",
    advice="Add it to the `feeds` of a supply. busim asks for supplies only if the plan names at least one.",
    find=_find,
    bad=(
        ("{name: boulder mats", "{name: «boulder mats"),
        ("boulder right, boulder mats]\n  - name: speed", "boulder right]\n  - name: speed"),
    ),
    good=(
        ("boulder right, boulder mats]\n  - name: speed", "boulder right]\n  - name: speed"),
        ("boulder mats, bus_id: 4", "boulder mats, supply: boulder supply, bus_id: 4"),
    ),
)

"""A camera that counts as offline after one failure."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, master in survey.masters.values():
        if master.offline_after < 2 and master.groups:
            yield Spot(
                f"{path}.offline_after",
                f"master {master.name!r} counts a camera as offline after one failure",
                f"{master.offline_after} (planned)",
                "2 or more",
            )


RULE = Rule(
    id="given-up-at-first-miss",
    title="A camera that counts as offline after one failure",
    severity="warning",
    area="time",
    explanation="After one damaged character the panel shows the camera as offline. The master then polls it less and "
    "less often, and it returns seconds later.",
    source="common practice, no source",
    advice="Write `offline_after: 3`.",
    find=_find,
    bad=(("offline_after: 3", "offline_after: «1"),),
    good=(("offline_after: 3", "offline_after: 2"),),
)

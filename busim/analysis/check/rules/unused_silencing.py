"""A silencing that silences nothing."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for number in survey.unused:
        one = survey.plan.silenced[number]
        if number not in survey.unknown:
            about = "the whole plan" if one.at is None else repr(one.at)
            yield Spot(
                f"silenced[{number}].rule",
                f"rule {one.rule} is silenced and has nothing to say about {about}",
                f"silenced because {one.reason!r}",
                "a finding to silence, or no such entry",
            )


RULE = Rule(
    id="unused-silencing",
    title="A silencing that silences nothing",
    severity="note",
    area="plan",
    explanation="What it was for has been mended or renamed. Left standing, it hides the same mistake when it comes "
    "back.",
    source="common practice, no source",
    advice="Delete the entry, or correct its `at`.",
    find=_find,
    bad=(("panels:", "silenced:\n  - {rule: «same-id-on-line, at: boulder left, reason: set on site}\npanels:"),),
    good=(
        ("boulder right, id: 3", "boulder right, id: 2"),
        ("panels:", "silenced:\n  - {rule: same-id-on-line, at: boulder right, reason: set on site}\npanels:"),
    ),
    afterwards=True,
)

"""A silencing entry without effect."""

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
                f"rule {one.rule} is silenced, but finds nothing in {about}",
                f"silenced because {one.reason!r}",
                "a finding to silence, or no such entry",
            )


RULE = Rule(
    id="unused-silencing",
    title="A silencing entry without effect",
    severity="note",
    area="plan",
    explanation="The finding behind this entry was fixed or renamed. If the entry stays, it hides the same mistake "
    "later.",
    source="common practice, no source",
    advice="Delete the entry, or correct its `at`.",
    find=_find,
    bad=(("panels:", "silenced:\n  - {rule: «same-id-on-line, at: boulder left, reason: set on site}\npanels:"),),
    good=(
        ("boulder right, bus_id: 3", "boulder right, bus_id: 2"),
        ("panels:", "silenced:\n  - {rule: same-id-on-line, at: boulder right, reason: set on site}\npanels:"),
    ),
    afterwards=True,
)

"""A silencing of a rule that is not there."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for number in survey.unknown:
        yield Spot(
            f"silenced[{number}].rule",
            "a rule is silenced that is not there",
            repr(survey.plan.silenced[number].rule),
            "the name of a rule, as a finding shows it",
        )


RULE = Rule(
    id="no-such-rule",
    title="A silencing of a rule that is not there",
    severity="warning",
    area="plan",
    explanation="The finding it was meant for is not silenced, or the plan was written for another version of busim, "
    "and whoever reads the plan takes the matter for settled.",
    source="common practice, no source",
    advice="Correct the name, or delete the entry; `busim check --rules` lists the rules.",
    find=_find,
    bad=(("panels:", "silenced:\n  - {rule: «same-id, reason: set on site}\npanels:"),),
    good=(
        ("boulder right, id: 3", "boulder right, id: 2"),
        ("panels:", "silenced:\n  - {rule: same-id-on-line, reason: set on site}\npanels:"),
    ),
    afterwards=True,
)

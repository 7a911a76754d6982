"""A silenced rule that does not exist."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for number in survey.unknown:
        yield Spot(
            f"silenced[{number}].rule",
            "the plan silences a rule that does not exist",
            repr(survey.plan.silenced[number].rule),
            "the name of a rule, as its findings show it",
        )


RULE = Rule(
    id="no-such-rule",
    title="A silenced rule that does not exist",
    severity="warning",
    area="plan",
    explanation="Either the intended finding is not silenced, or the plan was written for another version of busim. A "
    "reader of the plan takes the matter as settled.",
    source="common practice, no source",
    advice="Correct the name, or delete the entry; `busim check --rules` lists the rules.",
    find=_find,
    bad=(("panels:", "silenced:\n  - {rule: «same-id, reason: set on site}\npanels:"),),
    good=(
        ("boulder right, bus_id: 3", "boulder right, bus_id: 2"),
        ("panels:", "silenced:\n  - {rule: same-id-on-line, reason: set on site}\npanels:"),
    ),
    afterwards=True,
)

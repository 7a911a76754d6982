"""A master that is to listen first and cannot."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for path, master in survey.masters.values():
        if master.listen and master.through:
            yield Spot(
                f"{path}.listen",
                f"master {master.name!r} is to listen before it asks, and is behind a converter",
                f"{show_time(master.listen)} (planned)",
                "0: behind a converter silence says nothing",
            )


RULE = Rule(
    id="listening-without-effect",
    title="A master that is to listen first and cannot",
    severity="warning",
    area="time",
    explanation="Packing and the network make silences and remove them. What was meant to keep two masters apart "
    "keeps nobody apart.",
    source="common practice, no source",
    advice="Let a converter arbitrate that both go through.",
    find=_find,
    bad=(("retries: 2", "retries: 2\n    listen: «2 ms"),),
    good=(("retries: 2", "retries: 2\n    listen: 0"),),
)

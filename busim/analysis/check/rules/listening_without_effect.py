"""A master that cannot listen first behind a converter."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for path, master in survey.masters.values():
        if master.listen and master.through:
            yield Spot(
                f"{path}.listen",
                f"master {master.name!r} cannot listen before it asks: it is behind a converter",
                f"{show_time(master.listen)} (planned)",
                "0: silence means nothing behind a converter",
            )


RULE = Rule(
    id="listening-without-effect",
    title="A master that cannot listen first behind a converter",
    severity="warning",
    area="time",
    explanation="Packing and the network create silences and remove them. Listening first then keeps no two masters "
    "apart.",
    source="common practice, no source",
    advice="Connect both masters through one converter that arbitrates.",
    find=_find,
    hands_on=True,
    bad=(("retries: 2", "retries: 2\n    listen: «2 ms"),),
    good=(("retries: 2", "retries: 2\n    listen: 0"),),
)

"""A converter at which whoever comes throws the controller out."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, converter, count in survey.full:
        clients = converter.clients
        if clients.when_full == "drop-oldest":
            yield Spot(
                f"{path}.clients",
                f"whoever connects to converter {converter.name!r} throws its controller out",
                f"when full it drops the oldest, and {count} master(s) fill it",
                "a slot to spare",
            )


RULE = Rule(
    id="newcomer-evicts-master",
    title="A converter at which whoever comes throws the controller out",
    severity="warning",
    area="masters",
    explanation="One look with a laptop during the show ends the controller's connection. It comes back, throws the "
    "laptop out, and so on.",
    source="common practice, no source",
    advice="Give the box one slot more than there are masters, and agree who may connect.",
    find=_find,
    bad=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: «{most: 1, when_full: drop-oldest}",
        ),
    ),
    good=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 2, when_full: drop-oldest}",
        ),
    ),
)

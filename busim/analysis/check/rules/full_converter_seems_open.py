"""A full converter that accepts clients and ignores them."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, converter, count in survey.full:
        clients = converter.clients
        if clients.when_full == "accept-and-ignore":
            yield Spot(
                f"{path}.clients",
                f"converter {converter.name!r} accepts new clients when it is full, and ignores them",
                f"accept-and-ignore; masters take {count} of {clients.most} slots",
                "refusal when full, or one spare slot",
            )


RULE = Rule(
    id="full-converter-seems-open",
    title="A full converter that accepts clients and ignores them",
    severity="warning",
    area="masters",
    explanation="A controller that returns after a crash gets a connection but no answers. All cameras seem to have "
    "died at once, and people climb up to look at them.",
    source="common practice, no source",
    advice="Give the box one client slot more than there are masters.",
    find=_find,
    bad=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n"
            "    clients: «{most: 1, when_full: accept-and-ignore}",
        ),
    ),
    good=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n"
            "    clients: {most: 2, when_full: accept-and-ignore}",
        ),
    ),
)

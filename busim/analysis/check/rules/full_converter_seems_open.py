"""A full converter that lets clients in and ignores them."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, converter, count in survey.full:
        clients = converter.clients
        if clients.when_full == "accept-and-ignore":
            yield Spot(
                f"{path}.clients",
                f"converter {converter.name!r} lets in who comes when it is full, and ignores it",
                f"accepts and ignores, and {count} master(s) fill it",
                "a refusal, or a slot to spare",
            )


RULE = Rule(
    id="full-converter-seems-open",
    title="A full converter that lets clients in and ignores them",
    severity="warning",
    area="masters",
    explanation="A controller that comes back after a crash is connected and gets no answer: it looks as if all "
    "cameras had died at once, and people climb up to look at them.",
    source="common practice, no source",
    advice="Give the box one slot more than there are masters.",
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

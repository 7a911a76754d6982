"""A converter that keeps old bytes for the next client."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        if one.clients.stale:
            yield Spot(
                f"{path}.clients.stale",
                f"converter {one.name!r} keeps what came while nobody was connected",
                f"up to {one.clients.stale} bytes",
                "0",
            )


RULE = Rule(
    id="stale-bytes-kept",
    title="A converter that keeps old bytes for the next client",
    severity="note",
    area="masters",
    explanation="The first thing a controller reads after it has connected is a reply to something it never asked. "
    "If that fits its first request, a value of long ago is shown as the present one.",
    source="common practice, no source",
    advice="Let the box empty its buffer at each connection; a controller should read and drop what comes before "
    "its first request.",
    find=_find,
    bad=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4, stale: «512}",
        ),
    ),
    good=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4, stale: 0}",
        ),
    ),
)

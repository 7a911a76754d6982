"""A converter that keeps old bytes for the next client."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        if one.clients.stale:
            yield Spot(
                f"{path}.clients.stale",
                f"converter {one.name!r} keeps bytes that come while no client is connected",
                f"up to {one.clients.stale} bytes",
                "0",
            )


RULE = Rule(
    id="stale-bytes-kept",
    title="A converter that keeps old bytes for the next client",
    severity="note",
    area="masters",
    explanation="After a connect, the controller first reads a reply to a request that it never sent. If that reply "
    "fits its first request, an old value appears as the current one.",
    source="common practice, no source",
    advice="Set the box to empty its buffer at each connection. A controller should discard all bytes before its first "
    "request.",
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

"""A converter that keeps a crashed controller out."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for path, converter, count in survey.full:
        clients = converter.clients
        if clients.hold_slot and clients.when_full == "refuse":
            yield Spot(
                f"{path}.clients",
                f"converter {converter.name!r} keeps its controller out after a crash",
                f"{clients.most} slot(s) for {count} master(s), each held for {show_time(clients.hold_slot)}",
                "a slot to spare, or an older connection that gives way",
            )


RULE = Rule(
    id="slot-held-after-crash",
    title="A converter that keeps a crashed controller out",
    severity="warning",
    area="masters",
    explanation="A controller that died without closing its connection still holds the slot. Restarted, it is "
    "refused until the box notices, and the show is without cameras for that long.",
    source="common practice, no source; without an end of the connection TCP learns nothing: RFC 9293 (from memory)",
    advice="Give the box one slot more than there are masters, or shorten the time for which it holds one.",
    find=_find,
    bad=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: «{most: 1, hold_slot: 120 s}",
        ),
    ),
    good=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 2, hold_slot: 120 s}",
        ),
    ),
)

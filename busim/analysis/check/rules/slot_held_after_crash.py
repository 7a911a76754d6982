"""A converter that refuses its controller after a crash."""

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
                f"converter {converter.name!r} refuses its controller after a crash",
                f"masters take {count} of {clients.most} slots, each held for {show_time(clients.hold_slot)}",
                "one spare slot, or an older connection that gives way",
            )


RULE = Rule(
    id="slot-held-after-crash",
    title="A converter that refuses its controller after a crash",
    severity="warning",
    area="masters",
    explanation="A crashed controller does not close its connection, and its slot stays taken. After a restart the box "
    "refuses it until the idle time-out, and the show has no cameras for that long.",
    source="common practice, no source; without a closing handshake TCP does not notice that a peer vanished: RFC 9293 "
    "(from memory)",
    advice="Give the box one client slot more than there are masters, or shorten the time for which it holds a slot.",
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

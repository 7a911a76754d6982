"""A converter that closes the connection between two polls."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        for asker in wire.askers:
            converter, pauses = asker.converter, [group.every for group in asker.master.groups]
            if converter is None or not pauses or not converter.clients.idle_close:
                continue
            if converter.clients.idle_close < min(pauses):
                yield Spot(
                    f"{asker.converter_field}.clients.idle_close",
                    f"converter {converter.name!r} closes the connection of {asker.master.name!r} between two polls",
                    f"after {show_time(converter.clients.idle_close)} without a byte",
                    f"more than {show_time(min(pauses))}, the shortest time between two polls",
                )


RULE = Rule(
    id="idle-close-between-polls",
    title="A converter that closes the connection between two polls",
    severity="warning",
    area="masters",
    explanation="Every round begins with a new connection, and moves in between are late or lost. If the box just goes "
    "silent, the controller first waits for its time-out.",
    source="common practice, no source",
    advice="Set a longer idle time-out in the box or switch it off. Or poll one value more often.",
    find=_find,
    bad=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4, idle_close: «200 ms}",
        ),
    ),
    good=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4, idle_close: 10 min}",
        ),
    ),
)

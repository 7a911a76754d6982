"""A converter that sends bytes of its own into the line."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        clients = one.clients
        if clients.keep_alive_every and clients.keep_alive_to == "line":
            yield Spot(
                f"{path}.clients.keep_alive",
                f"converter {one.name!r} sends bytes of its own into the line",
                f"{clients.keep_alive.hex(' ').upper()} after {show_time(clients.keep_alive_every)} of silence",
                "only bytes from clients",
            )


RULE = Rule(
    id="bytes-into-line",
    title="A converter that sends bytes of its own into the line",
    severity="error",
    area="masters",
    explanation="The converter acts as a second master that nobody expects. Its bytes run into a slow camera's reply, "
    "or come before the next request and spoil it.",
    source="common practice, no source",
    advice="Switch the keep-alive off, or send it to the network side.",
    find=_find,
    bad=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n"
            "    clients: {most: 4, keep_alive: «{every: 60 s, to: line}}",
        ),
    ),
    good=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n"
            "    clients: {most: 4, keep_alive: {every: 0, to: line}}",
        ),
    ),
)

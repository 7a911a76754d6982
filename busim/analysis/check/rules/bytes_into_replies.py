"""A converter that adds bytes of its own to the replies."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        clients = one.clients
        found = []
        if clients.greeting:
            found.append((f"{path}.clients.greeting", f"{clients.greeting.hex(' ').upper()[:60]} to each new client"))
        if clients.keep_alive_every and clients.keep_alive_to == "network":
            found.append((f"{path}.clients.keep_alive", f"{clients.keep_alive.hex(' ').upper()[:60]} after silence"))
        for field, what in found:
            said = f"converter {one.name!r} adds bytes of its own to the replies"
            yield Spot(field, said, what, "only bytes from the line")


RULE = Rule(
    id="bytes-into-replies",
    title="A converter that adds bytes of its own to the replies",
    severity="note",
    area="masters",
    explanation="Some controllers take the first bytes that arrive for the reply. They count a damaged frame, and "
    "after a greeting they may stay out of step.",
    source="common practice, no source",
    advice="Switch it off in the box, or test the controller against it with `busim serve`.",
    find=_find,
    bad=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4, greeting: «48 49}",
        ),
    ),
    good=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            '    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4, greeting: ""}',
        ),
    ),
)

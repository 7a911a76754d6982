"""A converter that drops its controller for a new client."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, converter, count in survey.full:
        clients = converter.clients
        if clients.when_full == "drop-oldest":
            yield Spot(
                f"{path}.clients",
                f"converter {converter.name!r} drops its controller when another client connects",
                f"drop-oldest; masters take {count} of {clients.most} slots",
                "one spare slot",
            )


RULE = Rule(
    id="newcomer-evicts-master",
    title="A converter that drops its controller for a new client",
    severity="warning",
    area="masters",
    explanation="A laptop that connects during the show ends the controller's connection. The controller reconnects "
    "and ends the laptop's, and so on.",
    source="common practice, no source",
    advice="Give the box one client slot more than there are masters, and agree who may connect.",
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

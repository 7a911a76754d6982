"""More masters than a converter takes clients."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        for one in wire.converters:
            count, most = sum(1 for asker in wire.askers if asker.box is one), one.converter.clients.most
            if count > most:
                yield Spot(
                    f"{one.field}.clients",
                    f"more masters come to converter {one.name!r} than it takes",
                    f"{count} masters",
                    f"at most {most} clients at once",
                )


RULE = Rule(
    id="more-masters-than-clients",
    title="More masters than a converter takes clients",
    severity="error",
    area="masters",
    explanation="One of them finds the door shut, or shuts it for another. Which one it is depends on who was "
    "switched on first.",
    source="common practice, no source",
    advice="Raise the number of clients in the box if it allows, or leave a master out.",
    find=_find,
    bad=(
        (
            "panels:",
            "  - name: laptop\n    through: [speed box]\n    groups:\n"
            "      - {name: watch, values: [temperature], every: 2 s}\npanels:",
        ),
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n"
            "    clients: «{most: 1, sharing: arbitrated, arbitration_time_out: 18 ms}",
        ),
    ),
    good=(
        (
            "panels:",
            "  - name: laptop\n    through: [speed box]\n    groups:\n"
            "      - {name: watch, values: [temperature], every: 2 s}\npanels:",
        ),
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n"
            "    clients: {most: 2, sharing: arbitrated, arbitration_time_out: 18 ms}",
        ),
    ),
)

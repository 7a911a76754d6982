"""More masters than client slots of a converter."""

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
                    f"converter {one.name!r} has more masters than client slots",
                    f"{count} masters",
                    f"at most {most} clients at once",
                )


RULE = Rule(
    id="more-masters-than-clients",
    title="More masters than client slots of a converter",
    severity="error",
    area="masters",
    explanation="The converter refuses one master, or drops another for it. Which one depends on the order of "
    "switching on.",
    source="common practice, no source",
    advice="Raise the number of clients in the box if it allows, or remove a master.",
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

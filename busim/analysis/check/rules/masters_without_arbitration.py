"""Several masters through one converter that does not arbitrate."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        places = {asker.converter_field for asker in wire.askers}
        converter = wire.askers[0].converter if wire.askers else None
        if len(places) != 1 or converter is None or len(wire.askers) < 2 or converter.clients.sharing == "arbitrated":
            continue
        first, *others = wire.askers
        for asker in others:
            yield Spot(
                asker.way,
                f"master {asker.master.name!r} shares converter {converter.name!r}, which does not arbitrate",
                f"sharing {converter.clients.sharing}, and master {first.master.name!r} uses it too",
                "sharing arbitrated, or one master",
            )


RULE = Rule(
    id="masters-without-arbitration",
    title="Several masters through one converter that does not arbitrate",
    severity="error",
    area="masters",
    explanation="The box sends every client's bytes to the line as they come, and every reply to all clients. Requests "
    "run together, and each master takes the other's replies for its own.",
    source="common practice, no source",
    advice="Set the converter to arbitrate if it can, or connect one master only.",
    find=_find,
    hands_on=True,
    bad=(
        (
            "panels:",
            "  - name: laptop\n    through: [«speed box]\n    groups:\n"
            "      - {name: watch, values: [temperature], every: 2 s}\npanels:",
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
            "    clients: {most: 4, sharing: arbitrated, arbitration_time_out: 18 ms}",
        ),
    ),
)

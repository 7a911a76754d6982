"""Two converters on one line."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        asked = {asker.converter_field for asker in wire.askers}
        if len(wire.converters) < 2 or len(asked) > 1:
            continue  # if both are used, two-masters-on-line reports it
        first, *others = sorted(wire.converters, key=lambda one: one.field not in asked)
        for one in others:
            yield Spot(
                f"{one.field}.name",
                f"line {wire.line.name!r} has a second converter",
                f"{one.name!r} beside {first.name!r}",
                "one converter on a line",
            )


RULE = Rule(
    id="second-converter-on-line",
    title="Two converters on one line",
    severity="warning",
    area="masters",
    explanation="Converters do not coordinate their traffic. When a client connects to the second one, the line has "
    "two masters, and the first client sees no reason for its errors.",
    source="common practice, no source",
    advice="Take the second box off the pair until it is needed as a replacement.",
    find=_find,
    hands_on=True,
    bad=(
        (
            "      - {camera: speed finish, after: 12 m}\n",
            "      - {camera: speed finish, after: 12 m, stub: 0.3 m}\n      - {converter: reserve box, after: 2 m}\n",
        ),
        ("feeds: [speed box, speed start, speed finish]", "feeds: [speed box, reserve box, speed start, speed finish]"),
        (
            "cameras:\n  - {name: boulder left",
            "  - name: «reserve box\n    endpoint: 198.51.100.46:15001\n    packing: {idle: 2 ms, length: 0}\n"
            "cameras:\n  - {name: boulder left",
        ),
    ),
    good=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 2}",
        ),
    ),
)

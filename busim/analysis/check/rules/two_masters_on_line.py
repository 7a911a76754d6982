"""More than one master on one line."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        if len({asker.converter_field for asker in wire.askers}) > 1:
            first, *others = wire.askers
            for asker in others:
                yield Spot(
                    asker.way,
                    f"masters {first.master.name!r} and {asker.master.name!r} both ask on line {wire.line.name!r}",
                    f"{len(wire.askers)} masters, the first at {survey.row(first.way)}",
                    "one master on a line",
                )


RULE = Rule(
    id="two-masters-on-line",
    title="More than one master on one line",
    severity="error",
    area="masters",
    explanation="No device coordinates their traffic. Requests and replies collide. Each master works alone, but both "
    "fail together, usually when the show is busy. A forgotten laptop is enough.",
    source="MODBUS over Serial Line V1.02, 2.1 (one master at a time, from memory); one master per line: common "
    "practice, no source",
    advice="Remove one of them from the line, or connect both through one converter that arbitrates. `busim budget` "
    "shows how much a second master spoils.",
    find=_find,
    hands_on=True,
    bad=(
        (
            "      - {camera: speed finish, after: 12 m}\n",
            "      - {camera: speed finish, after: 12 m, stub: 0.3 m}\n      - {master: laptop, after: 2 m}\n",
        ),
        (
            "panels:",
            "  - name: laptop\n    on: [«speed line]\n    groups:\n"
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

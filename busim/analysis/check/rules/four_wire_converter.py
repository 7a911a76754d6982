"""A converter set to four wires on a two-wire line."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        for one in wire.converters:
            if one.converter.wires == 4:
                yield Spot(
                    f"{one.field}.wires",
                    f"converter {one.name!r} is set to four wires, but line {wire.line.name!r} has one pair",
                    "4 (planned)",
                    "2",
                )


RULE = Rule(
    id="four-wire-converter",
    title="A converter set to four wires on a two-wire line",
    severity="error",
    area="cable",
    explanation="The converter listens on a pair where no station sends, and may keep its driver on all the time. "
    "Cameras hear every request, but their replies never arrive or are overdriven.",
    source="MODBUS over Serial Line V1.02, 3.3 (2-wire and 4-wire lines, from memory); a driver that stays on in "
    "four-wire setting: common practice, no source",
    advice="Set the port to two wires (half duplex), so that its driver is on only while it sends.",
    find=_find,
    hands_on=True,
    bad=(("    endpoint: 198.51.100.44:15001", "    wires: «4\n    endpoint: 198.51.100.44:15001"),),
    good=(("    endpoint: 198.51.100.44:15001", "    wires: 2\n    endpoint: 198.51.100.44:15001"),),
)

"""A converter or a line master with other settings than its line."""

from __future__ import annotations

from busim.analysis.check.characters import SAME_BAUD, on_edges
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        for place in wire.asking:
            driver = place.driver
            if driver.baud is not None and abs(driver.baud / wire.line.baud - 1) > SAME_BAUD:
                edges = on_edges(driver.baud / wire.line.baud, "the cameras'")
                yield Spot(
                    f"{place.field}.driver.baud",
                    f"the baud of {place.name!r} differs from that of line {wire.line.name!r}",
                    f"{float(driver.baud):.10g} Bd (planned){edges}",
                    f"{float(wire.line.baud):.10g} Bd, the line's baud",
                )
            if driver.format is not None and driver.format != wire.line.format:
                yield Spot(
                    f"{place.field}.driver.format",
                    f"the character format of {place.name!r} differs from that of line {wire.line.name!r}",
                    f"{driver.format} (planned)",
                    f"{wire.line.format}, the line's format",
                )


RULE = Rule(
    id="asker-set-otherwise",
    title="A converter or a line master with other settings than its line",
    severity="error",
    area="settings",
    explanation="No camera on the line answers. All of them seem dead at once, although none is faulty.",
    source="MODBUS over Serial Line V1.02, 2.5.1 (one set of parameters for all on a line, from memory)",
    advice="Set the serial port of the box to the settings of the line, and save them in the box.",
    find=_find,
    bad=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}\n"
            "    driver: {baud: «19200 Bd}",
        ),
    ),
    good=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}\n"
            "    driver: {baud: 115200 Bd}",
        ),
    ),
)

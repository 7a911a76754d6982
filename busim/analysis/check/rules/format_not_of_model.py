"""A character format that a camera on the line does not support."""

from __future__ import annotations

from busim.analysis.check.characters import loses_bits
from busim.analysis.check.examples import delivered
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        for one in wire.cameras:
            model = survey.model(one.camera.model)
            own = one.camera.driver.format or wire.line.format
            if loses_bits(own, wire.protocol):
                continue  # eighth-bit-lost reports it
            if model and model.bus.formats and own not in model.bus.formats:
                yield Spot(
                    f"{one.field}.driver.format" if one.camera.driver.format else f"{wire.field}.format",
                    f"camera {one.camera.name!r} does not support this character format",
                    f"{own} (planned)",
                    f"{', '.join(map(str, model.bus.formats))} ({one.camera.model})",
                )
                if one.camera.driver.format is None:
                    break  # once for the line


RULE = Rule(
    id="format-not-of-model",
    title="A character format that a camera on the line does not support",
    severity="error",
    area="settings",
    explanation="All stations of a line need the same character format. If this comes out on rig day, the camera needs "
    "another converter, or the whole line another format.",
    source="the camera models",
    advice="Choose a format that every model on the line supports.",
    find=_find,
    bad=(
        (
            "    baud: 115200 Bd\n    format: 8E1\n    protocol: modbus-rtu\n",
            "    baud: 115200 Bd\n    format: «8O1\n    protocol: modbus-rtu\n",
        ),
    ),
    good=(
        (
            "    baud: 115200 Bd\n    format: 8E1\n    protocol: modbus-rtu\n",
            "    baud: 115200 Bd\n    format: 8N2\n    protocol: modbus-rtu\n",
        ),
        *delivered("factory_baud: 115200 Bd, factory_format: 8N2"),
    ),
)

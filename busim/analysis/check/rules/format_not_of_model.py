"""A line in a format that one of its cameras cannot be set to."""

from __future__ import annotations

from busim.analysis.check.characters import loses_bits
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        for one in wire.cameras:
            model = survey.model(one.camera.model)
            own = one.camera.driver.format or wire.line.format
            if loses_bits(own, wire.protocol):
                continue  # a matter of its own
            if model and model.bus.formats and own not in model.bus.formats:
                yield Spot(
                    f"{one.field}.driver.format" if one.camera.driver.format else f"{wire.field}.format",
                    f"camera {one.camera.name!r} cannot be set to this character format",
                    f"{own} (planned)",
                    f"{', '.join(map(str, model.bus.formats))} ({one.camera.model})",
                )
                if one.camera.driver.format is None:
                    break  # once for the line


RULE = Rule(
    id="format-not-of-model",
    title="A line in a format that one of its cameras cannot be set to",
    severity="error",
    area="settings",
    explanation="All stations of a line have one character format. Found out on the day of rigging, this means "
    "another converter, or another format for all.",
    source="the camera models",
    advice="Choose a format that every model on the line has.",
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
    ),
)

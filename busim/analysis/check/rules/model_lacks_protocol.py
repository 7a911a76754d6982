"""A camera that does not speak its line's protocol."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.protocols import starter


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        for one in wire.cameras:
            trouble = survey.keys(one.camera, wire)[1]
            if trouble is not None:
                yield Spot(
                    f"{one.field}.model",
                    f"camera {one.camera.name!r} cannot be asked in {wire.line.protocol}: {trouble.what}",
                    trouble.found or one.camera.model,
                    trouble.expected or f"a model with keys for {wire.line.protocol}",
                    trouble.mend or "",
                )


RULE = Rule(
    id="model-lacks-protocol",
    title="A camera that does not speak its line's protocol",
    severity="error",
    area="settings",
    explanation="Every camera of a line hears every request, and one that speaks something else answers at best "
    "nothing and at worst in the middle of another's reply.",
    source="the camera models and the protocol",
    advice="Move the camera to a line of its own protocol, or add its keys to the model or to the protocol's file.",
    find=_find,
    bad=(
        (
            "    baud: 115200 Bd\n    format: 8E1\n    protocol: modbus-rtu\n",
            "    baud: 115200 Bd\n    format: 8E1\n    protocol: wall-lines.yaml\n",
        ),
        (
            "speed start, id: 21",
            "speed start, model: «slow-motion-camera, power: {idle: 3 W, peak: 4 W, start_up: 5 W}, id: 21",
        ),
    ),
    good=(
        (
            "    baud: 115200 Bd\n    format: 8E1\n    protocol: modbus-rtu\n",
            "    baud: 115200 Bd\n    format: 8E1\n    protocol: wall-lines.yaml\n",
        ),
    ),
    beside=(("wall-lines.yaml", starter("wall-lines")),),
)

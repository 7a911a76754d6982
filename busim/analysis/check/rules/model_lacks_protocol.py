"""A camera that does not speak its line's protocol."""

from __future__ import annotations

from busim.analysis.check.rule import Rule
from busim.analysis.check.unresolved import told
from busim.protocols import starter

RULE = Rule(
    id="model-lacks-protocol",
    title="A camera that does not speak its line's protocol",
    severity="error",
    area="settings",
    explanation="Every camera on a line hears every request. A camera with another protocol stays silent at best. At "
    "worst it answers into another camera's reply.",
    source="the camera models and the protocol",
    advice="Move the camera to a line with its own protocol. Or add its keys to the model or to the protocol's file.",
    find=told("model-lacks-protocol"),
    refuses=True,
    bad=(
        (
            "    baud: 115200 Bd\n    format: 8E1\n    protocol: modbus-rtu\n",
            "    baud: 115200 Bd\n    format: 8E1\n    protocol: wall-lines.yaml\n",
        ),
        (
            "speed start, bus_id: 21",
            "speed start, model: «slow-motion-camera, power: {idle: 3 W, peak: 4 W, start_up: 5 W}, "
            "factory_format: 8E1, bus_id: 21",
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

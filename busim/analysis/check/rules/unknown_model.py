"""A camera model that does not exist, or whose file has mistakes."""

from __future__ import annotations

from busim.analysis.check.rule import Rule
from busim.analysis.check.unresolved import told

RULE = Rule(
    id="unknown-model",
    title="A camera model that cannot be used",
    severity="error",
    area="settings",
    explanation="A model holds the camera's parameters, its keys and its power. Without it the line cannot be checked, "
    "computed or run.",
    source="the camera models that busim finds",
    advice="Name one of busim's models or a file beside the plan. `busim new model` writes a first one.",
    find=told("unknown-model"),
    refuses=True,
    bad=(
        (
            "speed finish, bus_id: 22",
            "speed finish, model: «zoom-kamera, power: {idle: 3 W, peak: 4 W, start_up: 5 W}, bus_id: 22",
        ),
    ),
    good=(("speed finish, bus_id: 22", "speed finish, model: zoom-camera, bus_id: 22"),),
)

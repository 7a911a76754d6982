"""A camera model that is not there, or whose file has mistakes."""

from __future__ import annotations

from busim.analysis.check.rule import Rule
from busim.analysis.check.unresolved import told

RULE = Rule(
    id="unknown-model",
    title="A camera model that cannot be used",
    severity="error",
    area="settings",
    explanation="What the camera has to set and to read, how it is keyed and what it takes from its supply stand in "
    "its model; without it the line cannot be checked, computed or run.",
    source="the camera models that are there",
    advice="Name a model that busim has or a file beside the plan; `busim new model` begins one.",
    find=told("unknown-model"),
    refuses=True,
    bad=(
        (
            "speed finish, id: 22",
            "speed finish, model: «zoom-kamera, power: {idle: 3 W, peak: 4 W, start_up: 5 W}, id: 22",
        ),
    ),
    good=(("speed finish, id: 22", "speed finish, model: zoom-camera, id: 22"),),
)

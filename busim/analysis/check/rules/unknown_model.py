"""A camera model that is not there, or whose file has mistakes."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, camera in survey.cameras.values():
        trouble = survey.model_trouble(camera.model)
        if trouble is not None:
            yield Spot(
                f"{path}.model",
                f"the model of camera {camera.name!r} cannot be used: {trouble.what}",
                trouble.found or repr(camera.model),
                trouble.expected or "a model without mistakes",
                trouble.mend or "",
            )


RULE = Rule(
    id="unknown-model",
    title="A camera model that cannot be used",
    severity="error",
    area="settings",
    explanation="What the camera has to set and to read, how it is keyed and what it takes from its supply stand in "
    "its model; without it the line cannot be checked, computed or run.",
    source="the camera models that are there",
    advice="Name a model that busim has or a file beside the plan; `busim new model` begins one.",
    find=_find,
    bad=(
        (
            "speed finish, id: 22",
            "speed finish, model: «zoom-kamera, power: {idle: 3 W, peak: 4 W, start_up: 5 W}, id: 22",
        ),
    ),
    good=(("speed finish, id: 22", "speed finish, model: zoom-camera, id: 22"),),
)

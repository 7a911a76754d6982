"""Heads that move among people."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import listed

_TURNS = ("pan", "tilt")


def _find(survey: Survey) -> Spots:
    moving = []
    for name, (field, camera) in survey.cameras.items():
        model = survey.model(camera.model)
        if model is not None and any(motor.moves.startswith(_TURNS) for motor in model.motors):
            moving.append((name, field))
    if moving:
        yield Spot(
            f"{moving[0][1]}.model",
            "there are heads in this plan that turn",
            f"{len(moving)} of {len(survey.cameras)} cameras: {listed([name for name, _ in moving])} (planned)",
            "nobody and nothing within their reach while IDs are set or a controller is tried",
        )


RULE = Rule(
    id="caution-moving-heads",
    title="Heads that move among people",
    severity="note",
    area="cautions",
    explanation="Caution. A head turns without warning when a controller addresses the wrong ID, when it starts up "
    "and looks for its ends, or when a test is run; hands, hair and ladders are in its way.",
    source="common practice, no source; the local code for machinery and whoever is responsible on site decide",
    advice="Keep people and ladders out of reach, have a switch that takes the power off the heads, and set IDs "
    "with one head connected at a time. Then silence this with who answers for it as the reason.",
    find=_find,
    bad=(
        ("speed finish, id: 22", "speed finish, model: «pan-tilt-head, id: 22"),
        ("values: [iris, gain, master_black]", "values: [serial]"),
        ("values: [tally, temperature]", "values: [tally]"),
        ("controls: [iris, master_black]", "controls: [tally]"),
        ("    feeds: [speed box, speed start, speed finish]", "    feeds: [speed box, speed start]"),
        (
            "  - name: speed supply",
            "  - {name: head supply, voltage: 24 V, limit: 90 W, fuse: 4 A, feeds: [speed finish]}\n"
            "  - name: speed supply",
        ),
    ),
    good=(("speed finish, id: 22", "speed finish, model: zoom-camera, id: 22"),),
)

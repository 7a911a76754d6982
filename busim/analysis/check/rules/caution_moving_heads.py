"""Heads that move near people."""

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
            "this plan has heads that turn",
            f"{len(moving)} of {len(survey.cameras)} cameras: {listed([name for name, _ in moving])} (planned)",
            "no person and no object within their reach while IDs are set or a controller is tested",
        )


RULE = Rule(
    id="caution-moving-heads",
    title="Heads that move near people",
    severity="note",
    area="cautions",
    explanation="Caution. A head can turn without warning: when a controller addresses the wrong ID, when the head "
    "starts up and searches for its end stops, or during a test. Hands, hair and ladders can be in its way.",
    source="common practice, no source; the local code for machinery and the person responsible on site decide",
    advice="Keep people and ladders out of reach. Provide a switch that removes the power from all heads. Set IDs with "
    "one head connected at a time, and move plugs only with the supply off and checked. Then silence this rule and "
    "name the responsible person in the reason.",
    find=_find,
    bad=(
        ("speed finish, bus_id: 22", "speed finish, model: «pan-tilt-head, bus_id: 22"),
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
    good=(("speed finish, bus_id: 22", "speed finish, model: zoom-camera, bus_id: 22"),),
)

"""A camera that no master asks."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    if not survey.plan.masters:
        return  # a plan for a controller from outside need not name it
    for wire in survey.wires:
        alone = [one for one in wire.cameras if not survey.asked[one.camera.name]]
        if alone and len(alone) == len(wire.cameras):
            yield Spot(
                f"{wire.field}.name",
                f"no master asks the cameras of line {wire.line.name!r}",
                f"{len(alone)} camera{'' if len(alone) == 1 else 's'}, "
                + ("no converter" if not wire.converters else "a converter that no master uses"),
                "a master on the line or through its converter",
            )
            continue
        for one in alone:
            yield Spot(
                f"{one.field}.name",
                f"no master asks camera {one.camera.name!r}",
                f"not among the cameras of {', '.join(repr(asker.master.name) for asker in wire.askers[:4])}",
                "a master that asks it",
            )


RULE = Rule(
    id="camera-nobody-asks",
    title="A camera that no master asks",
    severity="warning",
    area="masters",
    explanation="The camera draws current and occupies an ID, but nobody sees its values or notices its failure. "
    "Usually it is missing from the controller's list by mistake.",
    source="common practice, no source",
    advice="Add it to the cameras of its master, or remove it from the plan.",
    find=_find,
    bad=(
        (
            "    time_out: computed\n",
            "    time_out: computed\n    cameras: [boulder left, boulder right, boulder mats, speed start]\n",
        ),
        ("boulder mats, speed start, speed finish]", "boulder mats, speed start]"),
        ("{name: speed finish", "{name: «speed finish"),
    ),
    good=(
        (
            "    time_out: computed\n",
            "    time_out: computed\n"
            "    cameras: [speed finish, boulder left, boulder right, boulder mats, speed start]\n",
        ),
    ),
)

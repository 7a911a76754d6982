"""A polled value that a camera does not have."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, master in survey.masters.values():
        asked = survey.asked_by[master.name]
        for number, group in enumerate(master.groups):
            for place, value in enumerate(group.values):
                lacking = [name for name in asked if survey.lacks(name, value)]
                if lacking and len(lacking) < len(asked):
                    yield Spot(
                        f"{path}.groups[{number}].values[{place}]",
                        f"master {master.name!r} polls {value!r}, which is missing on {len(lacking)} of its cameras",
                        ", ".join(f"{name!r} ({survey.cameras[name][1].model})" for name in lacking[:4]),
                        "a parameter of every camera's model",
                    )


RULE = Rule(
    id="polled-value-camera-lacks",
    title="A polled value that a camera does not have",
    severity="warning",
    area="masters",
    explanation="The camera refuses the poll or leaves it unanswered. Every round loses the time of an exchange, and a "
    "panel shows a value that never changes.",
    source="the camera models",
    advice="Remove the value from the group, or give these cameras a master of their own.",
    find=_find,
    bad=(
        ("values: [tally, temperature]", "values: [tally, «fan]"),
        (
            "speed start, bus_id: 21",
            "speed start, model: slow-motion-camera, power: {idle: 3 W, peak: 4 W, start_up: 5 W}, bus_id: 21",
        ),
    ),
    good=(("values: [tally, temperature]", "values: [tally, requests]"),),
)

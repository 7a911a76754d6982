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
    severity="note",
    area="masters",
    explanation="busim asks such a camera for the other values of the group only. A real controller may ask anyway. "
    "Then the camera refuses or stays silent, and every round loses an exchange or a time-out. A panel shows nothing.",
    source="the camera models",
    advice="If that is what you mean, leave it: nothing is lost here. Otherwise poll a value that all these models "
    "have. Check that your controller leaves out the values that a camera lacks.",
    find=_find,
    bad=(
        ("values: [tally, temperature]", "values: [tally, «fan]"),
        (
            "speed start, bus_id: 21",
            "speed start, model: slow-motion-camera, power: {idle: 3 W, peak: 4 W, start_up: 5 W}, "
            "factory_format: 8E1, bus_id: 21",
        ),
    ),
    good=(("values: [tally, temperature]", "values: [tally, requests]"),),
)

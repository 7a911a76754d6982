"""Cameras of one model with different firmware."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    first: dict[str, tuple[str, str]] = {}
    for path, camera in survey.cameras.values():
        if camera.firmware is None:
            continue
        version, other = first.setdefault(camera.model, (camera.firmware, path))
        if version != camera.firmware:
            yield Spot(
                f"{path}.firmware",
                f"camera {camera.name!r} has other firmware than others of its model",
                f"{camera.firmware}, {version} at {survey.row(f'{other}.firmware')}",
                f"one version for every {camera.model}",
            )


RULE = Rule(
    id="mixed-firmware",
    title="Cameras of one model with different firmware",
    severity="warning",
    area="settings",
    explanation="Such cameras may answer after another time, show another picture at one setting, or lack a parameter. "
    "On site this is found last, because everybody looks at the cable.",
    source="common practice, no source",
    advice="Update them to one version before rigging, and test that version. Keep its file at hand for the spare.",
    find=_find,
    bad=(
        ("boulder left, bus_id: 2", 'boulder left, firmware: "2.1", bus_id: 2'),
        ("boulder mats, bus_id: 4", 'boulder mats, firmware: «"2.2", bus_id: 4'),
    ),
    good=(
        ("boulder left, bus_id: 2", 'boulder left, firmware: "2.1", bus_id: 2'),
        ("boulder mats, bus_id: 4", 'boulder mats, firmware: "2.1", bus_id: 4'),
    ),
)

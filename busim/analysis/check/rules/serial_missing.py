"""Cameras with the same factory ID and no serial numbers."""

from __future__ import annotations

from collections import Counter

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        counts = Counter(survey.factory_id(one.camera) for one in wire.cameras)
        unnamed = [
            one for one in wire.cameras if not one.camera.serial and (survey.factory_id(one.camera) is not None)
            and counts[survey.factory_id(one.camera)] > 1
        ]  # fmt: skip
        if unnamed:
            yield Spot(
                f"{unnamed[0].field}.serial",
                f"cameras of line {wire.line.name!r} have the same factory ID and no serial numbers in the plan",
                ", ".join(repr(one.camera.name) for one in unnamed[:4])
                + (f" and {len(unnamed) - 4} more" if len(unnamed) > 4 else ""),
                "the number on each label",
            )


RULE = Rule(
    id="serial-missing",
    title="Cameras with the same factory ID and no serial numbers",
    severity="note",
    area="addresses",
    explanation="When two of them answer at once, only the number on the label shows which one hangs where.",
    source="common practice, no source",
    advice="Write down the serial numbers while the cameras are still on the table.",
    find=_find,
    bad=(("boulder mats, bus_id: 4, serial: 4103", "boulder mats, bus_id: 4, serial: «0"),),
    good=(("boulder mats, bus_id: 4, serial: 4103", "boulder mats, bus_id: 4, serial: 4177"),),
)

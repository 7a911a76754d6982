"""A camera that is set to another character format than its line."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        for one in wire.cameras:
            own = one.camera.driver.format
            if own is not None and own != wire.line.format:
                yield Spot(
                    f"{one.field}.driver.format",
                    f"camera {one.camera.name!r} is set to another character format than line {wire.line.name!r}",
                    f"{own} (planned)",
                    f"{wire.line.format}, as the line",
                )


RULE = Rule(
    id="camera-format-differs",
    title="A camera that is set to another character format than its line",
    severity="error",
    area="settings",
    explanation="With another parity it drops every second character or takes the parity bit for a stop bit: it "
    "works by chance for some values and not for others, which is taken for a bad cable.",
    source="MODBUS over Serial Line V1.02, 2.5.1 (one set of parameters for all on a line, from memory)",
    advice="Set the camera to the line's format before it is connected.",
    find=_find,
    bad=(
        (
            "speed finish, id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, id: 22, serial: 4105, turnaround: 2..6 ms, driver: {format: «8N1}",
        ),
    ),
    good=(
        (
            "speed finish, id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, id: 22, serial: 4105, turnaround: 2..6 ms, driver: {format: 8E1}",
        ),
    ),
)

"""A camera with another character format than its line."""

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
                    f"the character format of camera {one.camera.name!r} differs from that of line {wire.line.name!r}",
                    f"{own} (planned)",
                    f"{wire.line.format}, the line's format",
                )


RULE = Rule(
    id="camera-format-differs",
    title="A camera with another character format than its line",
    severity="error",
    area="settings",
    explanation="With another parity the camera drops every second character, or takes the parity bit for a stop bit. "
    "Some values get through and others do not, which looks like a bad cable.",
    source="MODBUS over Serial Line V1.02, 2.5.1 (one set of parameters for all on a line, from memory)",
    advice="Set the camera to the line's format before you connect it.",
    find=_find,
    hands_on=True,
    bad=(
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, driver: {format: «8N1}",
        ),
    ),
    good=(
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, driver: {format: 8E1}",
        ),
    ),
)

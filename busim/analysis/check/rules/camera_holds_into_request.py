"""A camera that still drives the line when the next request comes."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for timed in survey.timed:
        case = timed.case
        pause = max(case.gap, case.protocol.silence(float(case.baud)))
        rest = pause + case.packing_idle + 2 * case.latency.low
        for unit in case.units:
            if unit.hold > rest:
                yield Spot(
                    f"{survey.cameras[unit.name][0]}.driver.hold",
                    f"camera {unit.name!r} still drives line {case.line!r} when the next request comes",
                    f"{show_time(unit.hold)} after its last bit (planned)",
                    f"less than {show_time(rest)}, the earliest next request (computed)",
                )


RULE = Rule(
    id="camera-holds-into-request",
    title="A camera that still drives the line when the next request comes",
    severity="error",
    area="settings",
    explanation="The camera that answered last spoils the request to the next one. The wrong camera looks broken: the "
    "one that fails always comes next in the poll cycle.",
    source="common practice, no source",
    advice="Shorten the camera's release time, or give the master a longer gap.",
    find=_find,
    bad=(
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, driver: {hold: «20 ms}",
        ),
    ),
    good=(
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, driver: {hold: 1 ms}",
        ),
    ),
)

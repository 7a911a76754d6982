"""A driver that switches on late or off early."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        for place in wire.places:
            for key, time in (("lead", place.driver.lead), ("hold", place.driver.hold)):
                if time < 0:
                    yield Spot(
                        f"{place.field}.driver.{key}",
                        f"the driver of {place.name!r} cuts its own characters",
                        f"{key} {show_time(time)} (planned)",
                        "0 or more",
                    )


RULE = Rule(
    id="driver-cuts-characters",
    title="A driver that switches on late or off early",
    severity="error",
    area="settings",
    explanation="The first or the last bit is missing, usually because software switches the driver. Every message is "
    "damaged, or only those that end in certain values.",
    source="common practice, no source; RTS by software moves in steps of 1 ms: Linux include/uapi/linux/serial.h",
    advice="Use a converter that switches its driver in hardware, or set its delay.",
    find=_find,
    bad=(
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, driver: {hold: «-20 us}",
        ),
    ),
    good=(
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, driver: {hold: 20 us}",
        ),
    ),
)

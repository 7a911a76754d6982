"""A converter that still drives the line when the camera answers."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for timed in survey.timed:
        case = timed.case
        living = [unit for unit in case.units if not unit.trouble]
        if not living:
            continue
        first = min(living, key=lambda unit: unit.turnaround.low)
        soonest = first.turnaround.low + case.protocol.silence(float(case.baud))
        if case.hold > soonest:
            yield Spot(
                f"{timed.asker.converter_field or timed.asker.field}.driver.hold",
                f"{case.converter or case.master!r} still drives line {case.line!r} when camera {first.name!r} answers",
                f"{show_time(case.hold)} after its last bit (planned)",
                f"less than {show_time(soonest)}, the earliest reply (computed)",
            )


RULE = Rule(
    id="driver-holds-into-reply",
    title="A converter that still drives the line when the camera answers",
    severity="error",
    area="settings",
    explanation="Two drivers push against each other at the start of every reply, and its first characters are lost. "
    "The quickest cameras fail and the slow ones work.",
    source="common practice, no source; RTS by software moves in steps of 1 ms: Linux include/uapi/linux/serial.h",
    advice="Set the box to release the line immediately after its last bit.",
    find=_find,
    bad=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}\n"
            "    driver: {hold: «10 ms}",
        ),
    ),
    good=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}\n    driver: {hold: 1 ms}",
        ),
    ),
)

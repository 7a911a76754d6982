"""Requests that follow a reply too soon."""

from __future__ import annotations

from busim.analysis.budget import missing_quiet
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for timed in survey.timed:
        case = timed.case
        if not timed.asker.converter_field or not case.polls:
            continue
        both = 2.0 * case.latency.low
        short = [float(missing_quiet(one, float(case.packing_idle), both)) for one in timed.mean.times]
        if max(short) > 0:
            yield Spot(
                f"{timed.asker.converter_field}.packing",
                f"requests through converter {case.converter!r} follow a reply too soon",
                f"{show_time(max(short))} of silence are missing (computed): each byte goes on at once, without "
                "latency",
                "the silence that ends a frame",
            )


RULE = Rule(
    id="requests-run-together",
    title="Requests that follow a reply too soon",
    severity="error",
    area="time",
    explanation="The silence between a reply and the next request is too short. Cameras take both for one message, and "
    "that message is invalid.",
    source="MODBUS over Serial Line V1.02, p. 13 (3.5 characters of silence between frames)",
    advice="Give the master a gap. Or write the real latency of box and network, which is hardly ever zero.",
    find=_find,
    bad=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms",
            "    packing: «{idle: 0, length: 0}\n    latency: 0",
        ),
    ),
    good=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms",
            "    packing: {idle: 0, length: 0}\n    latency: 1 ms",
        ),
    ),
)

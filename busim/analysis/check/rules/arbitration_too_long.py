"""A converter that waits longer for a reply than its master."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for timed in survey.timed:
        converter = timed.asker.converter
        if converter is None or converter.clients.sharing != "arbitrated":
            continue
        patience = max((float(one.time_out) for one in timed.mean.times), default=0.0)
        if 0 < patience < converter.clients.arbitration_time_out:
            yield Spot(
                f"{timed.asker.converter_field}.clients.arbitration_time_out",
                f"converter {converter.name!r} waits longer for a reply than master {timed.case.master!r}",
                f"{show_time(converter.clients.arbitration_time_out)} (planned, or the default)",
                f"at most {show_time(patience)}, after which the master asks again (computed)",
            )


RULE = Rule(
    id="arbitration-too-long",
    title="A converter that waits longer for a reply than its master",
    severity="warning",
    area="time",
    explanation="When a camera is dead, its master goes on, but the box still waits and holds back the next requests. "
    "Those time out too, although their cameras work.",
    source="common practice, no source",
    advice="Set the arbitration time-out between the longest exchange and the master's time-out.",
    find=_find,
    bad=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n"
            "    clients: {most: 4, sharing: arbitrated, arbitration_time_out: «2 s}",
        ),
    ),
    good=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n"
            "    clients: {most: 4, sharing: arbitrated, arbitration_time_out: 18 ms}",
        ),
    ),
)

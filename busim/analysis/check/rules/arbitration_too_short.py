"""A converter that passes the line on before the reply."""

from __future__ import annotations

from busim.analysis.check.exchanges import longest
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for timed in survey.timed:
        converter = timed.asker.converter
        if converter is None or converter.clients.sharing != "arbitrated":
            continue
        own = longest(timed) - 2 * converter.latency.low
        if 0 < converter.clients.arbitration_time_out < own:
            yield Spot(
                f"{timed.asker.converter_field}.clients.arbitration_time_out",
                f"converter {converter.name!r} gives the line to the next client before the reply has arrived",
                f"{show_time(converter.clients.arbitration_time_out)} (planned)",
                f"more than {show_time(own)}, the longest exchange (computed)",
            )


RULE = Rule(
    id="arbitration-too-short",
    title="A converter that passes the line on before the reply",
    severity="error",
    area="time",
    explanation="The box sends the next client's request into the reply, and the reply goes to the client that asked "
    "last. Arbitration exists to prevent both.",
    source="common practice, no source",
    advice="Set the arbitration time-out above the longest exchange of the line.",
    find=_find,
    bad=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n"
            "    clients: {most: 4, sharing: arbitrated, arbitration_time_out: «5 ms}",
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

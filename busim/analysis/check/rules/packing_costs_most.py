"""A converter whose packing takes most of every exchange."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    seen: set[str] = set()
    for timed in survey.timed:
        case, path = timed.case, timed.asker.converter_field
        times = [timed.mean.poll_time(number) for number in timed.mean.layout.living]
        if not path or path in seen or not times:
            continue
        seen.add(path)
        typical = sum(times) / len(times)
        if case.packing_idle > typical / 2:
            yield Spot(
                f"{path}.packing.idle",
                f"packing takes more than half of every exchange on line {case.line!r}",
                f"{show_time(case.packing_idle)} (planned) of {show_time(typical)} (computed, on average)",
                "the time of a few characters",
            )


RULE = Rule(
    id="packing-costs-most",
    title="A converter whose packing takes most of every exchange",
    severity="warning",
    area="time",
    explanation="The box holds the reply and waits for more bytes. Packing is the cheapest setting to change on a slow "
    "line, and often still at its default.",
    source="16 ms is a usual default of USB serial adapters: FTDI AN232B-04 (second-hand); common practice, no source",
    advice="Set the packing time to two or three characters, but above the longest gap within a reply.",
    find=_find,
    bad=(("packing: {idle: 2 ms, length: 0}", "packing: {idle: «20 ms, length: 0}"),),
    good=(("packing: {idle: 2 ms, length: 0}", "packing: {idle: 3 ms, length: 0}"),),
)

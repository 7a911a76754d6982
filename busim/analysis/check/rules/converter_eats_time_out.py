"""A converter that takes most of a time-out for itself."""

from __future__ import annotations

from busim.analysis.check.exchanges import by_master, elsewhere, slowest
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey, Timed
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for timed, count in by_master(survey, _eaten):
        case = timed.case
        yield Spot(
            f"{timed.asker.converter_field}.packing",
            f"converter {case.converter!r} takes most of the time-out of {case.master!r} for itself{elsewhere(count)}",
            f"{show_time(_own(timed))} of packing and latency, both ways (planned), of {show_time(case.time_out or 0)}",
            "less than half of it",
        )


def _own(timed: Timed) -> float:
    return timed.case.packing_idle + 2.0 * timed.case.latency.high


def _eaten(timed: Timed) -> float:
    slow, planned = slowest(timed), timed.case.time_out
    if slow is None or planned is None or slow.takes > slow.time_out:
        return 0.0
    return max(0.0, _own(timed) - planned / 2)


RULE = Rule(
    id="converter-eats-time-out",
    title="A converter that takes most of a time-out for itself",
    severity="warning",
    area="time",
    explanation="A switch more on the way, or a box that is busy with its web page, and replies come too late. From "
    "the outside it looks like cameras that fail now and then.",
    source="common practice, no source",
    advice="Shorten packing, or give the master a longer time-out.",
    find=_find,
    bad=(
        ("time_out: computed", "time_out: 40 ms"),
        (
            "packing: {idle: 2 ms, length: 0}\n    latency: 1 ms",
            "packing: «{idle: 2 ms, length: 0}\n    latency: 12 ms",
        ),
    ),
    good=(("time_out: computed", "time_out: 60 ms"),),
)

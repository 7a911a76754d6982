"""A converter that uses up most of a time-out."""

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
            f"converter {case.converter!r} uses up most of the time-out of {case.master!r}{elsewhere(count)}",
            f"{show_time(_own(timed))} of packing and latency, both ways, in {show_time(case.time_out or 0)} (planned)",
            "less than half of the time-out",
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
    title="A converter that uses up most of a time-out",
    severity="warning",
    area="time",
    explanation="With one more switch on the way, or a box busy with its web page, replies come too late. From outside "
    "it looks like cameras that fail now and then.",
    source="common practice, no source",
    advice="Shorten the packing time, or give the master a longer time-out.",
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

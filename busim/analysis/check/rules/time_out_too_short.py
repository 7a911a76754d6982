"""A time-out shorter than an exchange."""

from __future__ import annotations

from busim.analysis.check.exchanges import by_master, elsewhere, slowest
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey, Timed
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for timed, count in by_master(survey, _over):
        slow = slowest(timed)
        assert slow is not None
        yield Spot(
            f"{timed.asker.field}.time_out",
            f"the time-out ends before camera {slow.camera!r} answers on line {timed.case.line!r}{elsewhere(count)}",
            f"{show_time(slow.time_out)} (planned)",
            f"more than {show_time(slow.takes)}: the longest exchange (computed)",
        )


def _over(timed: Timed) -> float:
    slow = slowest(timed)
    return 0.0 if slow is None else slow.takes - slow.time_out


RULE = Rule(
    id="time-out-too-short",
    title="A time-out shorter than an exchange",
    severity="error",
    area="time",
    explanation="The reply comes after the master has gone on, and runs into the next exchange. One slow camera "
    "damages its neighbours' replies, and a good camera counts as offline.",
    source="MODBUS over Serial Line V1.02, p. 9-10 (a response time-out covers the slowest reply)",
    advice="Write `time_out: computed`, or add up wire time, turnaround, packing and latency.",
    find=_find,
    bad=(("time_out: computed", "time_out: «12 ms"),),
    good=(("time_out: computed", "time_out: 60 ms"),),
)

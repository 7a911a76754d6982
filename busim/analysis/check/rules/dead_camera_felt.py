"""A time-out so long that one dead camera delays all others."""

from __future__ import annotations

from busim.analysis.check.exchanges import ONE_WAY, by_master, elsewhere, longest, lost
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey, Timed
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for timed, count in by_master(survey, _felt):
        yield Spot(
            f"{timed.asker.field}.time_out",
            f"a dead camera on line {timed.case.line!r} delays all others{elsewhere(count)}",
            f"{show_time(lost(timed))} per attempt, including the drain after it (computed)",
            f"at most {show_time(ONE_WAY)}, the limit for two-way command and control (ITU-T G.1010)",
        )


def _felt(timed: Timed) -> float:
    alone = len(timed.case.units) < 2 or longest(timed) > ONE_WAY  # then the exchange itself is too long
    return 0.0 if alone else lost(timed) - ONE_WAY


RULE = Rule(
    id="dead-camera-felt",
    title="A time-out so long that one dead camera delays all others",
    severity="warning",
    area="time",
    explanation="Until the master counts an unplugged camera as offline, each attempt to reach it stops the whole "
    "line. Every operator's move waits for it.",
    source="ITU-T G.1010, 2001 (second-hand): less than 250 ms one way for command and control",
    advice="Shorten the time-out towards the longest exchange, or write `time_out: computed`.",
    find=_find,
    bad=(("time_out: computed", "time_out: «400 ms"),),
    good=(("time_out: computed", "time_out: 200 ms"),),
)

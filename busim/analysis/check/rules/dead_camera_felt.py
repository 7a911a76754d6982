"""A time-out so long that one dead camera is felt by all."""

from __future__ import annotations

from busim.analysis.check.exchanges import ONE_WAY, by_master, elsewhere, longest, lost
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey, Timed
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for timed, count in by_master(survey, _felt):
        yield Spot(
            f"{timed.asker.field}.time_out",
            f"a dead camera on line {timed.case.line!r} holds up all others{elsewhere(count)}",
            f"{show_time(lost(timed))} for each attempt, the drain behind it included (computed)",
            f"at most {show_time(ONE_WAY)}, the limit for two-way command and control (ITU-T G.1010)",
        )


def _felt(timed: Timed) -> float:
    alone = len(timed.case.units) < 2 or longest(timed) > ONE_WAY  # then it is the exchange that is too long
    return 0.0 if alone else lost(timed) - ONE_WAY


RULE = Rule(
    id="dead-camera-felt",
    title="A time-out so long that one dead camera is felt by all",
    severity="warning",
    area="time",
    explanation="Until a camera that was unplugged has been given up, each attempt to reach it stops the whole "
    "line, and every move of an operator waits behind it.",
    source="ITU-T G.1010, 2001 (second-hand): less than 250 ms one way for command and control",
    advice="Shorten the time-out towards the longest exchange, or let it be computed.",
    find=_find,
    bad=(("time_out: computed", "time_out: «400 ms"),),
    good=(("time_out: computed", "time_out: 200 ms"),),
)

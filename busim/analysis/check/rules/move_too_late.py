"""Moves that arrive too late to work with."""

from __future__ import annotations

from busim.analysis.check.exchanges import INSTANT, ONE_WAY, by_master, elsewhere, p95
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for timed, count in by_master(survey, lambda timed: p95(timed) - ONE_WAY):
        yield Spot(
            survey.panel_field(timed.asker.master.name),
            f"moves on line {timed.case.line!r} arrive too late to work with{elsewhere(count)}",
            f"95 % arrive within {show_time(p95(timed))} (computed)",
            f"less than {show_time(ONE_WAY)} one way (ITU-T G.1010); {show_time(INSTANT)} feels instantaneous",
        )


RULE = Rule(
    id="move-too-late",
    title="Moves that arrive too late to work with",
    severity="error",
    area="time",
    explanation="Nobody can follow a picture with this delay between hand and lens. Operators turn in steps and wait.",
    source="ITU-T G.1010, 2001 (second-hand): less than 250 ms one way for command and control",
    advice="Shorten the longest exchange of the line, or move the slow camera to a line of its own.",
    find=_find,
    bad=(
        (
            "boulder mats, bus_id: 4, serial: 4103, turnaround: 2..6 ms",
            "boulder mats, bus_id: 4, serial: 4103, turnaround: 250 ms",
        ),
        ("every: 250 ms", "every: 2 s"),
        ("cameras: [boulder left, boulder right", "cameras: [«boulder left, boulder right"),
    ),
    good=(("every: 250 ms", "every: 200 ms"),),
)

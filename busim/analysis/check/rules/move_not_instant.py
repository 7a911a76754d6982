"""Moves that operators feel are late."""

from __future__ import annotations

from busim.analysis.check.exchanges import INSTANT, ONE_WAY, by_master, elsewhere, p95
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey, Timed
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for timed, count in by_master(survey, _late):
        yield Spot(
            survey.panel_field(timed.asker.master.name),
            f"moves on line {timed.case.line!r} are felt to be late{elsewhere(count)}",
            f"95 % arrive within {show_time(p95(timed))} (computed)",
            f"within {show_time(INSTANT)}, which feels instantaneous (Nielsen 1993, ch. 5); "
            f"{show_time(ONE_WAY)} is the limit for command and control (ITU-T G.1010)",
        )


def _late(timed: Timed) -> float:
    return p95(timed) - INSTANT if p95(timed) <= ONE_WAY else 0.0


RULE = Rule(
    id="move-not-instant",
    title="Moves that operators feel are late",
    severity="warning",
    area="time",
    explanation="A hand on an iris knob steers by what it sees. With this delay it overshoots and comes back, on air.",
    source="0.1 s feels instantaneous: Nielsen, Usability Engineering, 1993, ch. 5; Miller, AFIPS 33, 1968",
    advice="A move waits for the exchange before it: shorten the longest one (turnaround, packing, polled values in "
    "a row).",
    find=_find,
    bad=(
        (
            "boulder mats, id: 4, serial: 4103, turnaround: 2..6 ms",
            "boulder mats, id: 4, serial: 4103, turnaround: 90 ms",
        ),
        ("every: 250 ms", "every: 800 ms"),
        ("cameras: [boulder left, boulder right", "cameras: [«boulder left, boulder right"),
    ),
    good=(("every: 250 ms", "every: 200 ms"),),
)

"""Moves that feel late to operators."""

from __future__ import annotations

from busim.analysis.check.exchanges import INSTANT, ONE_WAY, by_master, elsewhere, p95
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey, Timed
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for timed, count in by_master(survey, _late):
        yield Spot(
            survey.panel_field(timed.asker.master.name),
            f"moves on line {timed.case.line!r} feel late to operators{elsewhere(count)}",
            f"95 % arrive within {show_time(p95(timed))} (computed)",
            f"within {show_time(INSTANT)}, which feels instantaneous (Nielsen 1993, ch. 5); "
            f"{show_time(ONE_WAY)} is the limit for command and control (ITU-T G.1010)",
        )


def _late(timed: Timed) -> float:
    if timed.mean.crowded >= 1:
        return 0.0  # that these moves are never caught up is said by a rule of its own
    return p95(timed) - INSTANT if p95(timed) <= ONE_WAY else 0.0


RULE = Rule(
    id="move-not-instant",
    title="Moves that feel late to operators",
    severity="warning",
    area="time",
    explanation="An operator steers an iris knob by the picture. With this delay the hand overshoots and comes back, "
    "on air.",
    source="0.1 s feels instantaneous: Nielsen, Usability Engineering, 1993, ch. 5; Miller, AFIPS 33, 1968",
    advice="A move waits for the exchange before it. Shorten the longest exchange: turnaround, packing, values per "
    "poll.",
    find=_find,
    bad=(
        (
            "boulder mats, bus_id: 4, serial: 4103, turnaround: 2..6 ms",
            "boulder mats, bus_id: 4, serial: 4103, turnaround: 90 ms",
        ),
        ("every: 250 ms", "every: 800 ms"),
        ("cameras: [boulder left, boulder right", "cameras: [«boulder left, boulder right"),
    ),
    good=(("every: 250 ms", "every: 200 ms"),),
)

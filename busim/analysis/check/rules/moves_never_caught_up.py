"""More moves than a line has time to send."""

from __future__ import annotations

from busim.analysis.check.exchanges import by_master, elsewhere
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for timed, count in by_master(survey, lambda timed: timed.mean.crowded if timed.mean.crowded >= 1 else 0.0):
        yield Spot(
            survey.panel_field(timed.asker.master.name),
            f"line {timed.case.line!r} has no time to send every move{elsewhere(count)}",
            f"{timed.mean.move_rate * 1e9:.3g} /s (planned), {timed.mean.crowded:.0%} of the available time for all of "
            f"them; newer ones replace {1 - timed.mean.sent:.0%} (computed)",
            "less than 100 %",
        )


RULE = Rule(
    id="moves-never-caught-up",
    title="More moves than a line has time to send",
    severity="error",
    area="time",
    explanation="Newer moves replace waiting ones all the time, so lenses jump instead of following. How long those "
    "take that are sent stands in `busim budget`. Polls get only the turns reserved for them.",
    source="a load of 1 or more has no steady state: any queueing text",
    advice="Send positions less often, raise the baud, or split the line.",
    find=_find,
    bad=(
        ("cameras: [boulder left, boulder right", "cameras: [«boulder left, boulder right"),
        ("moves: 1 /s", "moves: 200 /s"),
    ),
    good=(("moves: 1 /s", "moves: 4 /s"),),
)

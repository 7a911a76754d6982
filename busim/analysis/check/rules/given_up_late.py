"""A dead camera that keeps costing for long."""

from __future__ import annotations

from busim.analysis.check.exchanges import by_master, elsewhere
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey, Timed
from busim.foundation.units import show_time

_LONG = 10_000_000_000.0  # ns


def _find(survey: Survey) -> Spots:
    for timed, count in by_master(survey, _over):
        yield Spot(
            f"{timed.asker.field}.offline_after",
            f"a dead camera of line {timed.case.line!r} counts as there for long{elsewhere(count)}",
            f"{timed.case.policy.failures} failures, {show_time(_until(timed))} (computed)",
            f"at most {show_time(_LONG)}",
        )


def _until(timed: Timed) -> float:
    """ns until the camera that is polled most seldom is given up; every failure comes with its next poll."""
    layout = timed.mean.layout
    periods: dict[int, float] = {}
    for number in layout.living:
        unit = layout.polls[number].unit
        periods[unit] = periods.get(unit, 0.0) + 1 / timed.mean.period(number)
    if not periods:
        return 0.0
    return timed.case.policy.failures / min(periods.values())


def _over(timed: Timed) -> float:
    return _until(timed) - _LONG


RULE = Rule(
    id="given-up-late",
    title="A dead camera that keeps costing for long",
    severity="warning",
    area="time",
    explanation="Until it is given up, each of its polls costs the line a time-out, and the panel shows its last "
    "values as if they were true.",
    source="common practice, no source",
    advice="Lower the number of failures, or poll something of each camera more often.",
    find=_find,
    bad=(("offline_after: 3", "offline_after: «200"),),
    good=(("offline_after: 3", "offline_after: 5"),),
)

"""A dead camera that counts as online for long."""

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
            f"a dead camera of line {timed.case.line!r} counts as online for too long{elsewhere(count)}",
            f"{timed.case.policy.failures} failures, {show_time(_until(timed))} (computed)",
            f"at most {show_time(_LONG)}",
        )


def _until(timed: Timed) -> float:
    """Time in ns until the camera polled least often counts as offline; every failure comes with its next poll."""
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
    title="A dead camera that counts as online for long",
    severity="warning",
    area="time",
    explanation="Until it counts as offline, each of its polls costs the line a time-out. The panel shows its last "
    "values as if they were current.",
    source="common practice, no source",
    advice="Lower `offline_after`, or poll one value of each camera more often.",
    find=_find,
    bad=(("offline_after: 3", "offline_after: «200"),),
    good=(("offline_after: 3", "offline_after: 5"),),
)

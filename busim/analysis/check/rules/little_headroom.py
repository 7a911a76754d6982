"""A line with little headroom."""

from __future__ import annotations

from busim.analysis.check.exchanges import by_master, elsewhere
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey, Timed

_LEAST = 0.3


def _find(survey: Survey) -> Spots:
    for timed, count in by_master(survey, _crowded):
        load = timed.budget.load
        assert load is not None
        yield Spot(
            f"{timed.asker.field}.groups",
            f"line {timed.case.line!r} has little headroom{elsewhere(count)}",
            f"{1 - load.mean:.0%} at the wanted rates, load {load.mean:.0%} (computed)",
            f"at least {_LEAST:.0%}",
        )


def _crowded(timed: Timed) -> float:
    if timed.mean.restless or not 1 - _LEAST < timed.mean.demand < 1:
        return 0.0  # without the whole budget, which takes longer than all else here
    load = timed.budget.load
    reached = all(group.reached for group in timed.budget.groups)
    return load.mean if load is not None and reached and load.worst < 1 and load.mean > 1 - _LEAST else 0.0


RULE = Rule(
    id="little-headroom",
    title="A line with little headroom",
    severity="warning",
    area="time",
    explanation="One dead camera, one more operator or a few retries use up the rest, and then every rate falls at "
    "once. Waiting times grow steeply on a nearly full line.",
    source="waiting grows with 1 / (1 - load): Pollaczek-Khinchine, any queueing text; 30 % to keep free: common "
    "practice, no source",
    advice="Poll the slow values less often, shorten packing, or split the line.",
    find=_find,
    bad=(
        (
            "      - {name: fast, values: [iris, gain, master_black]",
            "      «- {name: fast, values: [iris, gain, master_black, zoom]",
        ),
    ),
    good=(("every: 250 ms", "every: 200 ms"),),
)

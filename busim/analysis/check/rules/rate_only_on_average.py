"""A wanted poll rate that holds on average and not at worst."""

from __future__ import annotations

from busim.analysis.check.exchanges import by_master, elsewhere
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey, Timed


def _find(survey: Survey) -> Spots:
    for timed, count in by_master(survey, _short):
        load = timed.budget.load
        assert load is not None
        yield Spot(
            f"{timed.asker.field}.groups",
            f"the wanted rates hold on average, not at worst, on line {timed.case.line!r}{elsewhere(count)}",
            f"load {load.mean:.0%} on average, {load.worst:.0%} with every unknown at its bad end (computed)",
            "less than 100 %",
        )


def _short(timed: Timed) -> float:
    load = timed.budget.load
    caught_up = timed.mean.crowded < 1
    return load.worst if load is not None and caught_up and load.mean < 1 <= load.worst else 0.0


RULE = Rule(
    id="rate-only-on-average",
    title="A wanted poll rate that holds on average and not at worst",
    severity="warning",
    area="time",
    explanation="Turnarounds and latencies were written as ranges. If the real ones lie at the bad end, the rates "
    "are not kept, and it is on site that this comes out.",
    source="as `busim budget` computes it",
    advice="Measure what is uncertain (`busim budget` says which matters most) or plan with more room.",
    find=_find,
    bad=(
        (
            "boulder mats, id: 4, serial: 4103, turnaround: 2..6 ms",
            "boulder mats, id: 4, serial: 4103, turnaround: 1..70 ms",
        ),
        (
            "panels:\n  - name: shading desk\n    master: controller\n"
            "    cameras: [boulder left, boulder right, boulder mats, speed start, speed finish]\n"
            "    controls: [iris, master_black]\n    moves: 1 /s\n",
            "",
        ),
        ("      - {name: fast", "      «- {name: fast"),
    ),
    good=(("every: 250 ms", "every: 300 ms"),),
)

"""A wanted poll rate that holds on average but not at worst."""

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
            f"the wanted rates on line {timed.case.line!r} hold on average but not at worst{elsewhere(count)}",
            f"load {load.mean:.0%} on average, {load.worst:.0%} with every range at its bad end (computed)",
            "less than 100 %",
        )


def _short(timed: Timed) -> float:
    load = timed.budget.load
    caught_up = timed.mean.crowded < 1
    return load.worst if load is not None and caught_up and load.mean < 1 <= load.worst else 0.0


RULE = Rule(
    id="rate-only-on-average",
    title="A wanted poll rate that holds on average but not at worst",
    severity="warning",
    area="time",
    explanation="Turnarounds and latencies are written as ranges. If the real values lie at the bad end, the rates are "
    "not kept, and this shows only on site.",
    source="as `busim budget` computes it",
    advice="Measure the uncertain values (`busim budget` shows which matter most), or plan with more headroom.",
    find=_find,
    bad=(
        (
            "boulder mats, bus_id: 4, serial: 4103, turnaround: 2..6 ms",
            "boulder mats, bus_id: 4, serial: 4103, turnaround: 1..70 ms",
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

"""A wanted poll rate that the line cannot give."""

from __future__ import annotations

from busim.analysis.check.examples import delivered
from busim.analysis.check.exchanges import elsewhere
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for path, master in survey.masters.values():
        for number, group in enumerate(master.groups):
            found = [
                (one.cycle.mean, timed.case.line)
                for timed in survey.timed_by[master.name]
                if timed.mean.crowded < 1  # otherwise the moves leave no time
                for one in timed.budget.groups
                if one.name == group.name and one.wanted and not one.reached
            ]
            if found:
                worst, line = max(found)
                yield Spot(
                    f"{path}.groups[{number}].every",
                    f"group {group.name!r} cannot be polled as often as wanted on line {line!r}{elsewhere(len(found))}",
                    f"every {show_time(worst * 1e9)} (computed, on average)",
                    f"every {show_time(group.every)} (planned)",
                    "Poll fewer values, poll less often or use more lines. `busim budget` shows what helps most.",
                )


RULE = Rule(
    id="rate-not-reached",
    title="A wanted poll rate that the line cannot give",
    severity="error",
    area="time",
    explanation="Every camera is polled less often than planned. Values on the panels are older than agreed, and all "
    "groups fall behind together.",
    source="the polling cycle: Takagi 1986 (from memory), as `busim budget` computes it",
    advice="Poll fewer values, poll less often or use more lines. `busim budget` shows the change that helps most.",
    find=_find,
    bad=(
        ("    baud: 38400 Bd", "    baud: 9600 Bd"),
        (
            "panels:\n  - name: shading desk\n    master: controller\n"
            "    cameras: [boulder left, boulder right, boulder mats, speed start, speed finish]\n"
            "    controls: [iris, master_black]\n    moves: 1 /s\n",
            "",
        ),
        ("[iris, gain, master_black], every: 250 ms", "[iris, gain, master_black, zoom], every: «250 ms"),
        *delivered("factory_baud: 9600 Bd", boulder=True),
    ),
    good=(("every: 250 ms", "every: 0"),),
)

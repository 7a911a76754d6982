"""A poll rate that broadcasts interrupt."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time

_PAUSE = 200_000_000  # ns


def _find(survey: Survey) -> Spots:
    for path, master in survey.masters.values():
        shared = [timed for timed in survey.timed_by[master.name] if len(timed.case.units) > 1]  # one needs none
        protocols = [timed.case.protocol for timed in shared]
        if not any(one.broadcast is not None and not one.answers_broadcast for one in protocols):
            continue
        for number, group in enumerate(master.groups):
            if 0 < group.every < _PAUSE:
                yield Spot(
                    f"{path}.groups[{number}].every",
                    f"group {group.name!r} misses its poll interval after a broadcast",
                    f"every {show_time(group.every)} (planned)",
                    "100 to 200 ms without a request after each broadcast (MODBUS over Serial Line V1.02, p. 9-10)",
                )


RULE = Rule(
    id="broadcast-breaks-pace",
    title="A poll rate that broadcasts interrupt",
    severity="note",
    area="time",
    explanation="No camera answers a broadcast, so the master must leave the cameras time to act on it. Values on the "
    "panels stand still for that long, at every preset for all cameras.",
    source="MODBUS over Serial Line V1.02, p. 9-10 (turnaround of 100 to 200 ms)",
    advice="Send broadcasts only while nobody works the panels.",
    find=_find,
    bad=(("every: 250 ms", "every: «180 ms"),),
    good=(("every: 250 ms", "every: 220 ms"),),
)

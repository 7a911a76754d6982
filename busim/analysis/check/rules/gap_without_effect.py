"""A gap shorter than the protocol's own silence."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    for path, master in survey.masters.values():
        timed = survey.timed_by[master.name]
        silences = [one.case.protocol.silence(float(one.case.baud)) for one in timed]
        if master.gap and silences and master.gap <= min(silences):
            yield Spot(
                f"{path}.gap",
                f"the gap of master {master.name!r} has no effect",
                f"{show_time(master.gap)} (planned)",
                f"more than {show_time(min(silences))}, the silence that ends a frame (computed)",
            )


RULE = Rule(
    id="gap-without-effect",
    title="A gap shorter than the protocol's own silence",
    severity="note",
    area="time",
    explanation="The plan looks as if cameras get a pause between polls, but they do not.",
    source="the protocol; for modbus-rtu MODBUS over Serial Line V1.02, p. 13",
    advice="Write a longer gap, or remove it.",
    find=_find,
    bad=(("retries: 2", "retries: 2\n    gap: «0.1 ms"),),
    good=(("retries: 2", "retries: 2\n    gap: 3 ms"),),
)

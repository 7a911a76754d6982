"""A supply that can hurt someone."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey

_VOLTS, _WATTS = 60.0, 100.0  # of a Class 2 circuit: a limit of power, not a promise of safety


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        volts, watts = feed.supply.voltage.high, feed.limit
        if feed.loads and (volts > _VOLTS or watts is None or watts > _WATTS):
            said = "no power limit written" if watts is None else f"{watts:g} W"
            verb = "exceeds" if volts > _VOLTS or watts is not None else "may exceed"
            yield Spot(
                f"{feed.field}.name",
                f"supply {feed.supply.name!r} {verb} the limits of a Class 2 circuit: it can hurt people",
                f"{volts:g} V, {said} (planned)",
                f"a licensed electrician for more than {_VOLTS:g} V or {_WATTS:g} W; care below that too",
            )


RULE = Rule(
    id="caution-supply-power",
    title="A supply that can hurt someone",
    severity="note",
    area="cautions",
    explanation="Caution. A supply of this size can set fire to a crushed cable and weld a tool to a terminal. A low "
    "voltage does not make a supply safe: any supply can burn, and wet skin conducts at low voltages. Behind the "
    "supply is the mains, which can kill. busim computes from the plan and has inspected nothing.",
    source="limits of a Class 2 circuit (100 VA, 60 V DC; less voltage where contact can be wet), NEC chapter 9 table "
    "11(B) (from memory); the local code decides",
    advice="Leave work on the supply to a licensed electrician who works by the local code. Switch it off, lock it off "
    "and measure that it is dead before anybody opens it. Switch every supply off and check it before you move a plug. "
    "Then silence this rule and name the responsible person in the reason.",
    find=_find,
    bad=(("  - name: boulder supply", "  - name: «boulder supply"), ("limit: 60 W", "limit: 240 W")),
    good=(("limit: 60 W", "limit: 90 W"),),
)

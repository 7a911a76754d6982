"""A supply that can hurt someone."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey

_VOLTS, _WATTS = 60.0, 100.0  # what a limited-power circuit may have


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        volts, watts = feed.supply.voltage.high, feed.limit
        if feed.loads and (volts > _VOLTS or watts is None or watts > _WATTS):
            said = "a power nobody says" if watts is None else f"{watts:g} W"
            yield Spot(
                f"{feed.field}.name",
                f"{feed.supply.name!r} can give more than a circuit that is safe by its smallness",
                f"{volts:g} V and {said} (planned)",
                f"at most {_VOLTS:g} V and {_WATTS:g} W, or somebody licensed who answers for it",
            )


RULE = Rule(
    id="caution-supply-power",
    title="A supply that can hurt someone",
    severity="note",
    area="cautions",
    explanation="Caution. A supply of this size burns a crushed cable, welds a tool and, over 60 V, can kill; its "
    "other side is the mains. busim computes on paper and has seen nothing of it.",
    source="limits of a Class 2 circuit (100 VA, 60 V DC), NEC chapter 9 table 11(B) (from memory); the local code "
    "decides",
    advice="Work on it by the local code and a licensed electrician; off, locked and measured before anybody opens "
    "it. Then silence this with who answers for it as the reason.",
    find=_find,
    bad=(("  - name: boulder supply", "  - name: «boulder supply"), ("limit: 60 W", "limit: 240 W")),
    good=(("limit: 60 W", "limit: 90 W"),),
)

"""A terminator that stands at neither end."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        for one in wiring.terminations:
            if not one.built_in and not wiring.at_end(one):
                yield Spot(
                    one.field,
                    f"a terminator of line {wiring.line.name!r} stands at neither end of the cable",
                    f"{one.metres:g} m from its beginning, {wiring.length - one.metres:g} m from its end (planned)",
                    f"at 0 m or at {wiring.length:g} m",
                )


RULE = Rule(
    id="terminator-in-mid-line",
    title="A terminator that stands at neither end",
    severity="error",
    area="cable",
    explanation="It usually stayed behind when a camera was added beyond it. The cable behind it ends open and "
    "reflects, and the terminator is a step in the middle that reflects too.",
    source="TI SLLA272 sec. 6; ADI AN-960; MODBUS over Serial Line V1.02, 3.4.5",
    advice="Move it to the end of the cable.",
    find=_find,
    bad=(
        ("9 m, stub: 0.3 m}\n", "9 m, stub: 0.3 m}\n      - «terminator\n"),
        ("boulder mats, after: 14 m}\n      - terminator", "boulder mats, after: 14 m}"),
    ),
    good=(
        ("boulder mats, after: 14 m}\n      - terminator", "boulder mats, after: 14 m}\n      - {terminator: true}"),
    ),
)

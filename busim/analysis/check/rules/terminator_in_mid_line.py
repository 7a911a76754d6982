"""A terminator in mid-line."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        for one in wiring.terminations:
            if not one.built_in and not wiring.at_end(one):
                yield Spot(
                    one.field,
                    f"a terminator of line {wiring.line.name!r} is not at an end of the cable",
                    f"{one.metres:g} m from its start, {wiring.length - one.metres:g} m from its end (planned)",
                    f"at 0 m or at {wiring.length:g} m",
                )


RULE = Rule(
    id="terminator-in-mid-line",
    title="A terminator in mid-line",
    severity="error",
    area="cable",
    explanation="It usually stays behind when a camera is added beyond it. The cable behind it ends open and reflects. "
    "The terminator itself is a step in mid-line and reflects too.",
    source="TI SLLA272 sec. 6; ADI AN-960; MODBUS over Serial Line V1.02, 3.4.5",
    advice="Move it to the end of the cable.",
    find=_find,
    hands_on=True,
    bad=(
        ("9 m, stub: 0.3 m}\n", "9 m, stub: 0.3 m}\n      - «terminator\n"),
        ("boulder mats, after: 14 m}\n      - terminator", "boulder mats, after: 14 m}"),
    ),
    good=(
        ("boulder mats, after: 14 m}\n      - terminator", "boulder mats, after: 14 m}\n      - {terminator: true}"),
    ),
)

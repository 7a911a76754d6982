"""A built-in terminator that is switched on where it must be off."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        for one in wiring.superfluous:
            where = "at an end that has a terminator" if wiring.at_end(one) else "in mid-line"
            yield Spot(
                one.field,
                f"the built-in terminator of {one.built_in!r} is switched on {where}",
                f"on (planned), {one.metres:g} m from the start of {wiring.length:g} m",
                "off; on only at an end of the cable that has no other terminator",
            )


RULE = Rule(
    id="built-in-terminator",
    title="A built-in terminator that must be off",
    severity="error",
    area="cable",
    explanation="The switch is small and sits inside or underneath. Units come back from the last job with it on. One "
    "terminator too many lowers the level on the whole line.",
    source="exactly two terminators: TI SLLA272 sec. 6; MODBUS over Serial Line V1.02, 3.4.5; that switches are "
    "left on: common practice, no source",
    advice="Switch it off. In the plan, write `terminator: false` or leave the field out.",
    find=_find,
    hands_on=True,
    bad=(("boulder right, bus_id: 3", "boulder right, terminator: «true, bus_id: 3"),),
    good=(
        ("      - terminator\n      - converter: boulder box", "      - converter: boulder box"),
        ("    endpoint: 198.51.100.44:15001", "    terminator: true\n    endpoint: 198.51.100.44:15001"),
    ),
)

"""A line longer than the careful one of two published figures allows at its baud."""

from __future__ import annotations

from busim.analysis.check.figures import metres
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.physics.electric import CAUTIOUS, WIDELY_QUOTED, longest


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        baud = float(wiring.line.baud)
        if longest(baud, CAUTIOUS) < wiring.length <= longest(baud, WIDELY_QUOTED):
            yield Spot(
                wiring.longest_cable,
                f"line {wiring.line.name!r} is longer than the cautious one of two published figures allows",
                f"{wiring.length:g} m at {baud:.10g} Bd (planned), {wiring.length * baud / 1e7:.2f} x 10^7 m bit/s "
                "(computed)",
                f"at most {metres(longest(baud, CAUTIOUS))} by 10^7 m bit/s ({CAUTIOUS.source}); it keeps to the "
                f"{metres(longest(baud, WIDELY_QUOTED))} by 10^8 m bit/s ({WIDELY_QUOTED.source})",
            )


RULE = Rule(
    id="length-times-rate-cautious",
    title="A line longer than the cautious published figure allows",
    severity="note",
    area="cable",
    explanation="Two published figures differ by ten. Most lines between them run; the cable, its joints and the "
    "drivers decide, so this one is to be tried at its full length before rig day.",
    source="10^7 m bit/s: TI SLLA272 sec. 9; 10^8 m bit/s: widely quoted, agrees with TI SLLA272's 4000 ft at 100 "
    "kbit/s and 40 ft at 10 Mbit/s",
    advice="Try it with the real cable for an hour and count the errors, or take a lower baud.",
    find=_find,
    bad=(("speed finish, after: 12 m", "speed finish, after: «100 m"),),
    good=(("speed finish, after: 12 m", "speed finish, after: 60 m"),),
)

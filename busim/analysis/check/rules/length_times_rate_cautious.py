"""A line longer than the cautious published limit."""

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
                f"line {wiring.line.name!r} is longer than the more cautious of two published limits",
                f"{wiring.length:g} m at {baud:.10g} Bd (planned), {wiring.length * baud / 1e7:.2f} x 10^7 m bit/s "
                "(computed)",
                f"at most {metres(longest(baud, CAUTIOUS))} by 10^7 m bit/s ({CAUTIOUS.source}); within the limit of "
                f"{metres(longest(baud, WIDELY_QUOTED))} by 10^8 m bit/s ({WIDELY_QUOTED.source})",
            )


RULE = Rule(
    id="length-times-rate-cautious",
    title="A line longer than the cautious published limit",
    severity="note",
    area="cable",
    explanation="Two published limits differ by a factor of ten. Most lines between them work; the cable, its joints "
    "and the drivers decide. Test this line at its full length before rig day.",
    source="10^7 m bit/s: TI SLLA272 sec. 9; 10^8 m bit/s: widely quoted, agrees with TI SLLA272's 4000 ft at 100 "
    "kbit/s and 40 ft at 10 Mbit/s",
    advice="Test it with the real cable for an hour and count the errors, or lower the baud.",
    find=_find,
    hands_on=True,
    bad=(("speed finish, after: 12 m", "speed finish, after: «100 m"),),
    good=(("speed finish, after: 12 m", "speed finish, after: 60 m"),),
)

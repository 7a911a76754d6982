"""A line too long for its baud."""

from __future__ import annotations

from busim.analysis.check.figures import metres
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.physics.electric import CAUTIOUS, LONGEST, WIDELY_QUOTED, longest


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        baud = float(wiring.line.baud)
        if longest(baud, WIDELY_QUOTED) < wiring.length <= LONGEST.value:
            yield Spot(
                wiring.longest_cable,
                f"line {wiring.line.name!r} is too long for its baud",
                f"{wiring.length:g} m at {baud:.10g} Bd (planned), {wiring.length * baud / 1e8:.2f} x 10^8 m bit/s "
                "(computed)",
                f"at most {metres(longest(baud, WIDELY_QUOTED))} by 10^8 m bit/s ({WIDELY_QUOTED.source}), "
                f"{metres(longest(baud, CAUTIOUS))} by 10^7 m bit/s ({CAUTIOUS.source})",
            )


RULE = Rule(
    id="length-times-rate",
    title="A line too long for its baud",
    severity="warning",
    area="cable",
    explanation="A long cable rounds off the edges until the bits run into each other. Single bits flip at the far "
    "end, more of them on a warm day, and it looks like a bad camera.",
    source="10^8 m bit/s is widely quoted and agrees with TI SLLA272's 4000 ft at 100 kbit/s and 40 ft at 10 Mbit/s; "
    "10^7 is in TI SLLA272 sec. 9; both are shown",
    advice="Lower the baud of the whole line, or put a converter nearer to the cameras.",
    find=_find,
    hands_on=True,
    bad=(("speed finish, after: 12 m", "speed finish, after: «900 m, gauge: AWG 16"),),
    good=(("speed finish, after: 12 m", "speed finish, after: 60 m"),),
)

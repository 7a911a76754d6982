"""A camera whose clock is too far from its converter's."""

from __future__ import annotations

from busim.analysis.check.characters import NASTY_LINK, NORMAL_LINK
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one, skew in survey.skews:
        if skew > NORMAL_LINK:
            yield Spot(
                f"{path}.driver",
                f"the clocks of camera {one.name!r} and its master or converter are too far apart",
                f"{skew:.2%} total difference (planned)",
                f"at most {NORMAL_LINK:.1%} on a clean link, {NASTY_LINK:.0%} on a bad one (tutorial 2141)",
            )


RULE = Rule(
    id="clocks-too-far-apart",
    title="Clocks that are too far apart",
    severity="error",
    area="settings",
    explanation="A receiver synchronises on the start bit only. At the last bit of a character it has drifted into the "
    "next bit. Some values fail, and more of them when the unit is warm.",
    source="Analog Devices / Maxim tutorial 2141 (5 of 152 ticks are 3.3 % for both ends together)",
    advice="Have the unit inspected, or choose a baud that its clock divides more exactly.",
    find=_find,
    hands_on=True,
    bad=(
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, driver: «{clock: 40000 ppm}",
        ),
    ),
    good=(
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, driver: {clock: 15000 ppm}",
        ),
    ),
)

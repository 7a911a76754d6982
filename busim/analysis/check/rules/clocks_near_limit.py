"""A camera whose clock leaves little room."""

from __future__ import annotations

from busim.analysis.check.characters import NASTY_LINK, NORMAL_LINK
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one, skew in survey.skews:
        if NASTY_LINK < skew <= NORMAL_LINK:
            yield Spot(
                f"{path}.driver",
                f"the clocks of camera {one.name!r} and of who asks it leave little room",
                f"{skew:.2%} in all (planned)",
                f"at most {NASTY_LINK:.0%} on a bad link, {NORMAL_LINK:.1%} on a clean one (tutorial 2141)",
            )


RULE = Rule(
    id="clocks-near-limit",
    title="Clocks that leave little room",
    severity="warning",
    area="settings",
    explanation="It works on the bench. On a long cable, whose edges are slow, and in the warmth of the lamps, the "
    "last bits of a character are read where they change.",
    source="Analog Devices / Maxim tutorial 2141 (3 of 152 ticks are 2 % on a nasty link); MODBUS over Serial Line "
    "V1.02, 3.2 (1 % to send, 2 % to receive)",
    advice="Use it on a short, clean line, or exchange it.",
    find=_find,
    bad=(
        (
            "speed finish, id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, id: 22, serial: 4105, turnaround: 2..6 ms, driver: «{clock: -25000 ppm}",
        ),
    ),
    good=(
        (
            "speed finish, id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, id: 22, serial: 4105, turnaround: 2..6 ms, driver: {clock: -15000 ppm}",
        ),
    ),
)

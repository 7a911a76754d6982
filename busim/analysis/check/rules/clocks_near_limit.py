"""A camera whose clock leaves little margin."""

from __future__ import annotations

from busim.analysis.check.characters import NASTY_LINK, NORMAL_LINK
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one, skew in survey.skews:
        if NASTY_LINK < skew <= NORMAL_LINK:
            yield Spot(
                f"{path}.driver",
                f"the clocks of camera {one.name!r} and its master or converter leave little margin",
                f"{skew:.2%} total difference (planned)",
                f"at most {NASTY_LINK:.0%} on a bad link, {NORMAL_LINK:.1%} on a clean one (tutorial 2141)",
            )


RULE = Rule(
    id="clocks-near-limit",
    title="Clocks with little margin",
    severity="warning",
    area="settings",
    explanation="The link works on the bench. On a long cable the edges are slow, and lamps warm the unit. The "
    "receiver then samples the last bits of a character while they change.",
    source="Analog Devices / Maxim tutorial 2141 (3 of 152 ticks are 2 % on a nasty link); MODBUS over Serial Line "
    "V1.02, 3.2 (1 % to send, 2 % to receive)",
    advice="Use the unit on a short, clean line, or exchange it.",
    find=_find,
    hands_on=True,
    bad=(
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, driver: «{clock: -25000 ppm}",
        ),
    ),
    good=(
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, driver: {clock: -15000 ppm}",
        ),
    ),
)

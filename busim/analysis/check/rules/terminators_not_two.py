"""A line with more or fewer than two terminators."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.physics.electric import TERMINATORS, stub_limit

_FAST = 100.0  # ns of rise time: assumed, as for stubs


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        superfluous = wiring.superfluous  # built-in-terminator reports them
        there = [one for one in wiring.terminations if one not in superfluous]
        if not there and 0 < wiring.length <= stub_limit(_FAST, wiring.line.velocity):
            continue  # an edge is longer than the whole cable
        if len(wiring.hanging) > 1 and len(there) != TERMINATORS:
            bare = [f"at {end:g} m" for end in sorted({0.0, wiring.length}) if end not in {one.metres for one in there}]
            yield Spot(
                wiring.name_field,
                f"line {wiring.line.name!r} needs exactly two terminators",
                f"{len(there)} (planned)" + (f", none {' and none '.join(bare)}" if bare else ""),
                "two, one at each end of the cable",
            )


RULE = Rule(
    id="terminators-not-two",
    title="A line with more or fewer than two terminators",
    severity="error",
    area="cable",
    explanation="An end without a terminator reflects every edge back into the line. A third terminator loads the "
    "drivers until the level is too low. Both work on the bench and give single wrong replies on site. A cable on the "
    "table needs none if it is no longer than a stub may be (2 m, with edges of 100 ns assumed).",
    source="TI SLLA272 sec. 6, L <= (tr/10) v c for cables that need none; ADI AN-960; MODBUS over Serial Line V1.02, "
    "3.4.5",
    advice="Have one terminator at each end of the cable and no other. Write `- terminator` as the first and the last "
    "position of the order. For a built-in terminator that is switched on at an end, write `terminator: true` at its "
    "station.",
    find=_find,
    hands_on=True,
    bad=(
        ("  - name: boulder line", "  - name: «boulder line"),
        ("boulder mats, after: 14 m}\n      - terminator", "boulder mats, after: 14 m}"),
    ),
    good=(
        ("boulder mats, after: 14 m}\n      - terminator", "boulder mats, after: 14 m}"),
        ("boulder mats, bus_id: 4", "boulder mats, terminator: true, bus_id: 4"),
    ),
)

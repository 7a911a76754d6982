"""A stub that is long for fast edges."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import tap_limit
from busim.physics.electric import stub_limit

_FAST, _SLOW = 100.0, 500.0  # ns of rise time: assumed, as a plan does not name the drivers


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        short, slow = (stub_limit(rise, wiring.line.velocity) for rise in (_FAST, _SLOW))
        for one in wiring.hanging:
            if short < one.place.stub <= tap_limit(wiring, one)[0]:
                yield Spot(
                    f"{one.field}.stub",
                    f"the stub to {one.name!r} is long for a fast driver",
                    f"{one.place.stub:g} m (planned)",
                    f"at most {short:.1f} m with edges of {_FAST:g} ns (assumed), "
                    f"{slow:.1f} m with slew-limited ones of {_SLOW:g} ns (a tenth of the rise time, TI SLLA272 "
                    "sec. 6); "
                    f"MODBUS V1.02, 3.4.3 allows {tap_limit(wiring, one)[0]:g} m here",
                )


RULE = Rule(
    id="stub-too-long",
    title="A stub that is long for fast edges",
    severity="warning",
    area="cable",
    explanation="A stub is an end without a terminator, and it reflects each edge. The reflection of a short stub is "
    "over before the edge is. A long stub puts a step into every bit on the line, for all stations.",
    source="TI SLLA272 sec. 6, L <= (tr/10) v c; MODBUS over Serial Line V1.02, 3.4.3: both are shown",
    advice="Run the line through the station (in and out) instead of to it.",
    find=_find,
    hands_on=True,
    bad=(("after: 18 m, stub: 0.3 m", "after: 18 m, stub: «5 m"),),
    good=(("after: 18 m, stub: 0.3 m", "after: 18 m, stub: 1.5 m"),),
)

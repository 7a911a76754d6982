"""A terminator that does not match its cable."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import Wiring
from busim.physics.electric import MODBUS_TERMINATOR, reflection

_NEAR = 0.1  # share by which ohms may differ, the tolerance of cables; common practice, no source


def _near(one: float, other: float) -> bool:
    return abs(one - other) <= _NEAR * other


def _allowed(wiring: Wiring) -> list[float]:
    impedance = wiring.line.cable.impedance
    return [impedance, MODBUS_TERMINATOR] if wiring.line.protocol.startswith("modbus") else [impedance]


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        impedance = wiring.line.cable.impedance
        allowed = _allowed(wiring)
        ohms = [one.ohms for one in wiring.terminations]
        alike = not ohms or _near(min(ohms), max(ohms))
        for one in wiring.terminations:
            fits = any(_near(one.ohms, right) for right in allowed)
            if not fits or not (alike or _near(one.ohms, impedance)):
                more = f", or all of them {MODBUS_TERMINATOR:g} ohm (MODBUS V1.02, 3.4.5)" if len(allowed) > 1 else ""
                yield Spot(
                    one.field if one.built_in else f"{one.field}.ohms",
                    f"a terminator of line {wiring.line.name!r} does not match its cable",
                    f"{one.ohms:g} ohm (planned) on a cable of {impedance:g} ohm reflects "
                    f"{abs(reflection(one.ohms, impedance)):.0%} of every edge (computed)",
                    f"{impedance:g} ohm, as the cable (TI SLLA272 sec. 6){more}",
                )


RULE = Rule(
    id="terminator-ohms",
    title="A terminator that does not match its cable",
    severity="warning",
    area="cable",
    explanation="A terminator absorbs an edge only if its resistance matches the cable, and it reflects the rest. Two "
    "unequal terminators usually mean that one is a makeshift.",
    source="TI SLLA272 sec. 6 and ADI AN-960 (as the cable, 120 ohm); MODBUS over Serial Line V1.02, 3.4.5 (150 "
    "ohm, or 120 ohm with 1 nF beside a bias): both are shown",
    advice="Use two terminators with the cable's impedance. If the cable is not 120 ohm, write its `impedance` in the "
    "line's `cable`.",
    find=_find,
    hands_on=True,
    bad=(
        (
            "boulder mats, after: 14 m}\n      - terminator",
            "boulder mats, after: 14 m}\n      - {terminator: true, ohms: «60 ohm}",
        ),
    ),
    good=(
        (
            "boulder mats, after: 14 m}\n      - terminator",
            "boulder mats, after: 14 m}\n      - {terminator: true, ohms: 124 ohm}",
        ),
    ),
)

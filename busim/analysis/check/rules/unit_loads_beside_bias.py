"""More receivers than published limits allow beside a bias."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.physics.electric import BESIDE_BIAS


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        total = wiring.unit_loads
        if wiring.biased and wiring.unit_loads_fit and any(total > figure.value for figure in BESIDE_BIAS):
            figures = "; ".join(
                f"{figure.value:g} ({figure.source}): {'kept' if total <= figure.value else 'not kept'}"
                for figure in BESIDE_BIAS
            )
            yield Spot(
                wiring.name_field,
                f"line {wiring.line.name!r} has more receivers than published limits allow beside a bias",
                f"{total:g} unit loads of {len(wiring.hanging)} stations (plan or models), and a bias",
                f"two published figures: {figures}",
            )


RULE = Rule(
    id="unit-loads-beside-bias",
    title="More receivers than published limits allow beside a bias",
    severity="note",
    area="cable",
    explanation="A bias is a load too, and published figures for it differ by a factor of five. Between them the "
    "resistors decide.",
    source="TI SLLA272 sec. 8 (up to 20 of the 32 unit loads, which leaves 96 devices of 1/8); MODBUS over Serial "
    "Line V1.02, 3.4.6 (4, which leaves 28 devices of 1): both are shown",
    advice="Write the resistors as `ohms` of the line's bias. busim then computes the load and the undriven voltage.",
    find=_find,
    bad=(
        ("  - name: boulder line", "  - name: «boulder line"),
        ("boulder mats, bus_id: 4", "boulder mats, unit_load: 14, bus_id: 4"),
    ),
    good=(("boulder mats, bus_id: 4", "boulder mats, unit_load: 8, bus_id: 4"),),
)

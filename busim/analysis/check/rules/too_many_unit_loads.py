"""More unit loads on a line than a driver must drive."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.physics.electric import MOST_UNIT_LOADS, devices


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        if not wiring.unit_loads_fit:
            yield Spot(
                wiring.name_field,
                f"line {wiring.line.name!r} has more unit loads than a driver must drive",
                f"{wiring.unit_loads:g} unit loads of {len(wiring.hanging)} stations (plan or models)",
                f"at most {MOST_UNIT_LOADS:g} with two terminators: {devices(1)} stations of 1 or "
                f"{devices(1 / 8)} of 1/8",
            )


RULE = Rule(
    id="too-many-unit-loads",
    title="More unit loads on a line than a driver must drive",
    severity="error",
    area="cable",
    explanation="Every receiver draws a little current from the active driver. Above the limit the level sinks below "
    "the receivers' threshold. Which camera fails first depends on the temperature.",
    source="TIA/EIA-485-A via TI SLLA272 and ADI AN-960 table 1: 32 of 1 unit load, 256 of 1/8",
    advice="Move some stations to another converter, or put a repeater into the line. Check the unit loads on the data "
    "sheets.",
    find=_find,
    hands_on=True,
    bad=(
        ("  - name: boulder line", "  - name: «boulder line"),
        ("boulder mats, bus_id: 4", "boulder mats, unit_load: 32, bus_id: 4"),
    ),
    good=(("boulder mats, bus_id: 4", "boulder mats, unit_load: 0.25, bus_id: 4"),),
)

"""A camera with another baud than its line."""

from __future__ import annotations

from busim.analysis.check.characters import SAME_BAUD, on_edges
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        for one in wire.cameras:
            own = one.camera.driver.baud
            if own is not None and abs(own / wire.line.baud - 1) > SAME_BAUD:
                yield Spot(
                    f"{one.field}.driver.baud",
                    f"the baud of camera {one.camera.name!r} differs from that of line {wire.line.name!r}",
                    f"{float(own):.10g} Bd (planned){on_edges(wire.line.baud / own, 'its')}",
                    f"{float(wire.line.baud):.10g} Bd, the line's baud",
                )


RULE = Rule(
    id="camera-baud-differs",
    title="A camera with another baud than its line",
    severity="error",
    area="settings",
    explanation="The camera understands nothing and stays silent. Now and then it takes other traffic for a request "
    "and answers into it. It can only be set right at its own baud, while connected alone.",
    source="MODBUS over Serial Line V1.02, 2.5.1 (one mode and one set of parameters for all on a line, from memory)",
    advice="Set the camera to the line's baud before you connect it.",
    find=_find,
    hands_on=True,
    bad=(
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, driver: {baud: «9600 Bd}",
        ),
    ),
    good=(
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, driver: {baud: 115200 Bd}",
        ),
    ),
)

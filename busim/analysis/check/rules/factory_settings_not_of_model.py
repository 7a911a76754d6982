"""Factory settings that the model of a camera cannot have."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.protocols import BusProtocol


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        for one in wire.cameras:
            camera, bus = one.camera, one.known.bus if one.known else None
            baud, form = camera.factory_baud, camera.factory_format
            if bus and bus.bauds and baud is not None and baud not in bus.bauds:
                bauds = ", ".join(f"{float(each):.10g}" for each in bus.bauds)
                yield Spot(
                    f"{one.field}.factory_baud",
                    f"camera {one.name!r} cannot come with this baud",
                    f"{float(baud):.10g} Bd (planned)",
                    f"{bauds} Bd ({camera.model})",
                )
            if bus and bus.formats and form is not None and form not in bus.formats:
                yield Spot(
                    f"{one.field}.factory_format",
                    f"camera {one.name!r} cannot come with this character format",
                    f"{form} (planned)",
                    f"{', '.join(map(str, bus.formats))} ({camera.model})",
                )
            if camera.factory_id is not None and wire.protocol is not None:
                yield from _id(one.field, one.name, camera.factory_id, wire.protocol)


def _id(field: str, name: str, address: int, protocol: BusProtocol) -> Spots:
    least, most = protocol.addresses
    if not least <= address <= most:
        yield Spot(
            f"{field}.factory_id",
            f"camera {name!r} cannot come with this bus ID",
            f"{address} (planned)",
            f"{least} to {most} ({protocol.name})",
        )


RULE = Rule(
    id="factory-settings-not-of-model",
    title="Factory settings that the model of a camera cannot have",
    severity="error",
    area="settings",
    explanation="The first step on site sets the converter to the factory settings of the cameras. With wrong ones the "
    "new camera answers nothing, and the search for its true settings costs the crew an hour.",
    source="the camera models; for the bus ID the protocol",
    advice="Read the label or the manual, and write what it says. Leave the field out if the camera comes as its "
    "model.",
    find=_find,
    bad=(
        ("serial: 4101, turnaround: 2..6 ms", "serial: 4101, turnaround: 2..6 ms, factory_baud: «250000 Bd"),
        ("serial: 4102, turnaround: 2..6 ms", "serial: 4102, turnaround: 2..6 ms, factory_format: «7E1"),
        ("serial: 4103, turnaround: 2..6 ms", "serial: 4103, turnaround: 2..6 ms, factory_id: «300"),
    ),
    good=(("serial: 4103, turnaround: 2..6 ms", "serial: 4103, turnaround: 2..6 ms, factory_id: 200"),),
)

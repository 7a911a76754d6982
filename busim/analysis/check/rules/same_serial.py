"""One serial number on two units."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    units = [(path, one.name, one.serial) for path, one in survey.cameras.values()]
    units += [(f"spares[{number}]", one.name, one.serial) for number, one in enumerate(survey.plan.spares)]
    first: dict[int, str] = {}
    for path, name, serial in units:
        if serial and serial in first:
            yield Spot(
                f"{path}.serial",
                f"{name!r} has the serial number of another unit",
                f"{serial}, first at {survey.row(f'{first[serial]}.serial')}",
                "the number on its own label",
            )
        first.setdefault(serial, path)


RULE = Rule(
    id="same-serial",
    title="One serial number on two units",
    severity="error",
    area="addresses",
    explanation="The serial number tells two units with one bus ID apart. With a wrong number the wrong camera gets "
    "the ID, and nobody notices until its picture is needed.",
    source="common practice, no source",
    advice="Read both labels again, and correct the plan.",
    find=_find,
    bad=(("boulder mats, bus_id: 4, serial: 4103", "boulder mats, bus_id: 4, serial: «4102"),),
    good=(("boulder mats, bus_id: 4, serial: 4103", "boulder mats, bus_id: 4, serial: 4199"),),
)

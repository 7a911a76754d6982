"""A baud that a camera on the line does not support."""

from __future__ import annotations

from busim.analysis.check.examples import delivered
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.installation import ResolvedLine


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        for one in wire.cameras:
            model = survey.model(one.camera.model)
            own = one.camera.driver.baud or wire.line.baud
            if model and model.bus.bauds and own not in model.bus.bauds:
                every = _common(survey, wire)
                mend = (
                    "" if one.camera.driver.baud or not every else f"Choose {every} Bd: every model of the line has it."
                )
                yield Spot(
                    f"{one.field}.driver.baud" if one.camera.driver.baud else f"{wire.field}.baud",
                    f"camera {one.camera.name!r} does not support this baud",
                    f"{float(own):.10g} Bd (planned)",
                    f"{', '.join(f'{float(baud):.10g}' for baud in model.bus.bauds)} Bd ({one.camera.model})",
                    mend,
                )
                if one.camera.driver.baud is None:
                    break  # once for the line


def _common(survey: Survey, wire: ResolvedLine) -> str:
    """The bauds that every known model on the line supports."""
    models = [survey.model(one.camera.model) for one in wire.cameras]
    lists = [model.bus.bauds for model in models if model and model.bus.bauds]
    return " or ".join(f"{float(baud):.10g}" for baud in lists[0] if all(baud in bauds for bauds in lists))


RULE = Rule(
    id="baud-not-of-model",
    title="A baud that a camera on the line does not support",
    severity="error",
    area="settings",
    explanation="All stations of a line need the same baud. If this comes out on rig day, the camera needs another "
    "converter, or the whole line must run slower.",
    source="the camera models",
    advice="Choose a baud that every model on the line supports, or give this camera its own line.",
    find=_find,
    bad=(
        ("    baud: 115200 Bd", "    baud: «57600 Bd"),
        (
            "speed finish, bus_id: 22",
            "speed finish, model: slow-motion-camera, power: {idle: 3 W, peak: 4 W, start_up: 5 W}, bus_id: 22",
        ),
        (
            "4104, turnaround: 2..6 ms,\n     factory_baud: 115200 Bd",
            "4104, turnaround: 2..6 ms, factory_baud: 57600 Bd",
        ),
    ),
    good=(("    baud: 115200 Bd", "    baud: 57600 Bd"), *delivered("factory_baud: 57600 Bd")),
)

"""A camera whose factory settings are not those of its line."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import listed
from busim.installation import ResolvedCamera
from busim.plan import LinePlan


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        line = wire.line
        deaf = [
            one for one in wire.cameras
            if one.factory_port not in (None, (line.baud, line.format)) and _as_line(one, line) and _possible(one)
        ]  # fmt: skip
        if deaf:
            settings = dict.fromkeys(
                f"{float(one.factory_port[0]):.10g} Bd {one.factory_port[1]}" for one in deaf if one.factory_port
            )
            yield Spot(
                f"{wire.field}.baud",
                _said(len(deaf), len(wire.cameras), line.name),
                f"{listed([one.name for one in deaf])}: {' and '.join(list(settings)[:4])} as delivered",
                f"{float(line.baud):.10g} Bd {line.format}, as the line",
            )


def _said(deaf: int, every: int, line: str) -> str:
    if every == 1:
        return f"the camera on line {line!r} is deaf until it is set"
    if deaf == 1:
        return f"1 of {every} cameras is deaf on line {line!r} until it is set"
    return f"{deaf} of {every} cameras are deaf on line {line!r} until they are set"


def _as_line(one: ResolvedCamera, line: LinePlan) -> bool:
    """Whether the camera is to have the settings of its line: another rule tells where it is not, or cannot."""
    bus = one.known.bus if one.known else None
    able = bus is not None and line.baud in bus.bauds and line.format in bus.formats
    return able and (one.port.baud, one.port.format) == (line.baud, line.format)


def _possible(one: ResolvedCamera) -> bool:
    """Whether the model can come with these settings: another rule tells where it cannot."""
    bus, port = one.known.bus if one.known else None, one.factory_port
    return bus is not None and port is not None and port[0] in bus.bauds and port[1] in bus.formats


RULE = Rule(
    id="deaf-until-set",
    title="A camera whose factory settings are not those of its line",
    severity="note",
    area="settings",
    explanation="Out of its box the camera talks at its factory baud and format. On this line it answers nothing, and "
    "looks dead, until somebody has set it with a converter at its factory settings.",
    source="the camera models; MODBUS over Serial Line V1.02, 2.5.1 (one set of parameters for all on a line, from "
    "memory)",
    advice="Plan the time: `busim rehearse` and `busim sheet` have the steps. Or give the line the factory "
    "settings of its cameras. Write `factory_baud` and `factory_format` for cameras that come set otherwise.",
    find=_find,
    bad=(
        ("serial: 4105, turnaround: 2..6 ms,\n     factory_baud: 115200 Bd", "serial: 4105, turnaround: 2..6 ms"),
        ("    baud: 115200 Bd\n", "    baud: «115200 Bd\n"),
    ),
    good=(("serial: 4103, turnaround: 2..6 ms", "serial: 4103, turnaround: 2..6 ms, factory_baud: 38400 Bd"),),
)

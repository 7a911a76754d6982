"""One control of a panel, moved as the controller would move it: the camera that is meant moves, and no other.

Only a little is moved, and back again, because heads and lenses do move. The laptop reads the value before and after;
that no other camera moved is known to the emulator alone, and on site somebody looks at the pictures.
"""

from __future__ import annotations

from dataclasses import dataclass

from busim.commissioning.rehearse.reasons import MOVED_OTHERS, NOT_MOVED, seen, why
from busim.commissioning.rehearse.result import Reason
from busim.commissioning.rehearse.site import Site
from busim.plan.models import Parameter

_PART = 10  # a tenth of its range
_LOOKS = 40  # readings until a motor is taken to be stuck
_EVERY = 250_000_000  # ns between them


@dataclass(frozen=True, slots=True)
class Moved:
    """`reason` None: it moved what it should, and nothing else."""

    seen: str
    reason: Reason | None = None


def move(site: Site, camera: str, control: str, id: int) -> Moved:
    """Move a control of a camera at a bus ID a little, look who moved, and move it back."""
    line = site.cameras[camera].line
    name = site.model(camera).called(control)
    parameter = next(one for one in site.model(camera).parameters if one.name == name)
    heard = site.ask(line, site.request(camera, name, id))
    reason = why(site, camera, id, heard)
    if reason is not None:
        return Moved(seen(heard), reason)
    assert heard.reply is not None
    before = heard.reply.values[0]
    wanted = _a_little(parameter, before)
    there = _stands(site, control)
    for value in (wanted, before):
        heard = site.ask(line, site.request(camera, name, id, value))
        reason = why(site, camera, id, heard)
        if reason is not None:
            return Moved(seen(heard), reason)
        reads = _arrives(site, camera, name, id, value)
        stands = _stands(site, control)
        others = sorted(one for one, stood in stands.items() if stood != there[one] and one != camera)
        if others:
            return Moved(
                f"{control} {before} to {value}: acknowledged",
                Reason(
                    MOVED_OTHERS, f"{', '.join(map(repr, others))} moved too",
                    "two cameras have one bus ID: take one off the pair and give it its own",
                ),
            )  # fmt: skip
        if reads != value:
            return Moved(
                f"{control} {before} to {value}: acknowledged, and reads {reads}",
                Reason(
                    NOT_MOVED, f"{control} of {camera!r} does not come to {value}",
                    "look whether something of it is locked or limited by another setting",
                ),
            )  # fmt: skip
    return Moved(f"{before} to {wanted} and back")


def _a_little(parameter: Parameter, value: int) -> int:
    part = max(1, (parameter.high - parameter.low) // _PART)
    return value + part if value + part <= parameter.high else max(parameter.low, value - part)


def _arrives(site: Site, camera: str, control: str, id: int, value: int) -> int | None:
    """What it reads when it is there, or after many looks."""
    reads = None
    for _ in range(_LOOKS):
        heard = site.ask(site.cameras[camera].line, site.request(camera, control, id))
        reads = heard.reply.values[0] if heard.reply is not None and heard.reply.values else None
        if reads == value:
            break
        site.wait(_EVERY)
    return reads


def _stands(site: Site, control: str) -> dict[str, int]:
    """Where this control stands in every camera that has it."""
    return {
        name: port.camera.values[port.camera.model.called(control)]
        for name, port in site.world.cameras.items()
        if port.camera.model.called(control) in port.camera.values
    }

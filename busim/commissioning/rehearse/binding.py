"""Test of one panel control: its camera moves, and no other camera does.

The test moves a tenth of the range and back, because real heads and lenses move. The laptop reads the value before and
after. Only the emulator knows that no other camera moved; on site the crew looks at the pictures.
"""

from __future__ import annotations

from dataclasses import dataclass

from busim.commissioning.rehearse.heard import seen
from busim.commissioning.rehearse.result import MOVED_OTHERS, NOT_MOVED, Reason
from busim.commissioning.rehearse.site import Site
from busim.plan.models import Parameter

_PART = 10  # a tenth of its range
_LOOKS = 40  # readings before a motor counts as stuck
_EVERY = 250_000_000  # ns between them


@dataclass(frozen=True, slots=True)
class Moved:
    """Result of the test. `reason` None: the right camera moved, and no other."""

    seen: str
    reason: Reason | None = None


def move(site: Site, camera: str, control: str, bus_id: int) -> Moved:
    """Move a control by a tenth of its range and back, and name any other camera that moved."""
    line = site.cameras[camera].line
    name = site.model(camera).called(control)
    parameter = next(one for one in site.model(camera).parameters if one.name == name)
    heard = site.ask(line, site.request(camera, name, bus_id))
    reason = site.why(camera, bus_id, heard)
    if reason is not None:
        return Moved(seen(heard), reason)
    assert heard.reply is not None
    before = heard.reply.values[0]
    wanted = _a_little(parameter, before)
    there = site.stands(control)
    for value in (wanted, before):
        heard = site.ask(line, site.request(camera, name, bus_id, value))
        reason = site.why(camera, bus_id, heard)
        if reason is not None:
            return Moved(seen(heard), reason)
        reads = _arrives(site, camera, name, bus_id, value)
        stands = site.stands(control)
        others = sorted(one for one, stood in stands.items() if stood != there[one] and one != camera)
        if others:
            return Moved(
                f"{control} {before} to {value}: acknowledged",
                Reason(
                    MOVED_OTHERS, f"{', '.join(map(repr, others))} moved too",
                    "two cameras have the same bus ID: unplug one of them and give it a bus ID of its own",
                ),
            )  # fmt: skip
        if reads != value:
            return Moved(
                f"{control} {before} to {value}: acknowledged, but reads back {reads}",
                Reason(
                    NOT_MOVED, f"{control} of {camera!r} does not reach {value}",
                    "check whether another setting of this camera locks or limits the control",
                ),
            )  # fmt: skip
    return Moved(f"{before} to {wanted} and back")


def _a_little(parameter: Parameter, value: int) -> int:
    part = max(1, (parameter.high - parameter.low) // _PART)
    return value + part if value + part <= parameter.high else max(parameter.low, value - part)


def _arrives(site: Site, camera: str, control: str, bus_id: int, value: int) -> int | None:
    """Last value read: `value` as soon as it is reached, else the reading after `_LOOKS` tries."""
    reads = None
    for _ in range(_LOOKS):
        heard = site.ask(site.cameras[camera].line, site.request(camera, control, bus_id))
        reads = heard.reply.values[0] if heard.reply is not None and heard.reply.values else None
        if reads == value:
            break
        site.wait(_EVERY)
    return reads

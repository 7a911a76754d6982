"""What the plan says of the camera that is measured, and the plan with what was measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat, Spread
from busim.foundation.yaml_source import flow
from busim.installation import Installation
from busim.onsite.measure.separate import COMPUTED, MEASURED, Part
from busim.protocols import BusProtocol


@dataclass(frozen=True, slots=True)
class Planned:
    """One camera and the first converter of its line, None without one; times in ns, None: no converter."""

    name: str
    bus_id: int
    protocol: BusProtocol
    baud: Fraction
    format: CharFormat
    keys: tuple[int, ...]
    converter: str | None
    packing: int | None
    latency: Spread | None


def planned(installation: Installation, camera: str) -> Planned:
    """The camera of this name, or the only one with this bus ID. Raises UserError."""
    found = [one for name, one in installation.cameras.items() if name == camera]
    if not found and camera.isdecimal():
        found = [one for one in installation.cameras.values() if one.camera.bus_id == int(camera)]
    if len(found) != 1:
        raise UserError(
            "no such camera in the plan" if not found else "several cameras have this bus ID",
            found=repr(camera[:60]), expected="one of " + ", ".join(map(repr, installation.cameras))[:300],
            mend="name the camera with --camera",
        )  # fmt: skip
    one = found[0]
    line = installation.line_of[one.name]
    keys = one.model.keys[line.speaks.name]
    box = line.converters[0].converter if line.converters else None
    return Planned(
        one.name, one.camera.bus_id, line.speaks, line.line.baud, line.line.format, tuple(sorted(keys.values())),
        None if box is None else box.name, None if box is None else box.packing_idle,
        None if box is None else box.latency,
    )  # fmt: skip


def with_measured(planned: Planned, parts: tuple[Part, ...], on: str) -> Mapping[str, str]:
    """Fields of the plan and their new texts: the values, and a `measured` block beside them. `on`: the day."""
    named = {one.name: one for one in parts}
    fields: dict[str, str] = {}
    turnaround = named.get("turnaround")
    if turnaround is not None and turnaround.how in (MEASURED, COMPUTED):
        text = _spread(turnaround.value.least, turnaround.value.most)
        at = f"cameras[{planned.name}]"
        fields[f"{at}.turnaround"] = flow(text)
        fields[f"{at}.measured"] = _block("turnaround", text, turnaround, on)
    idle = named.get("packing idle")
    if idle is not None and planned.converter is not None:
        text = _time(max(0.0, idle.value.middle))
        at = f"converters[{planned.converter}]"
        fields[f"{at}.packing.idle"] = flow(text)
        fields[f"{at}.measured"] = _block("packing", text, idle, on)
    return fields


def _block(name: str, text: str, part: Part, on: str) -> str:
    how = part.why if part.how == MEASURED else f"computed: {part.why}"
    return flow({name: text, "reads": part.value.count, "on": on, "how": how})


def _time(ns: float) -> str:
    return f"{round(ns / 1000)} us"


def _spread(least: float, most: float) -> str:
    low, high = round(max(0.0, least) / 1000), round(max(0.0, most) / 1000)
    return f"{low} us" if low == high else f"{low}..{high} us"

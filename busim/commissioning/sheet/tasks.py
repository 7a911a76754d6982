"""The steps of a rehearsal as instructions for the crew: what to do and what to look for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from busim.commissioning.rehearse import Assumed, Planned, Step, generated, planned, steps_of
from busim.commissioning.sheet.model import ASSUMED, Task, Value
from busim.commissioning.sheet.said import baud
from busim.foundation.units import show_time
from busim.installation import Installation
from busim.simulator.world import build


def tasks(site: Installation) -> tuple[tuple[Task, ...], str]:
    """The steps, written in the plan or generated from it, and a note with their assumptions.

    Raises Findings if the `rehearsal` of the plan has mistakes.
    """
    plan = site.plan
    cameras = planned(site, build(site, 1, lambda _: None, played=()))
    if plan.source:
        steps, assumed = steps_of(plan, cameras)
    else:  # built by a program: no text with steps
        steps, assumed = generated(plan, cameras, Assumed()), Assumed()
    said = tuple(_task(number, step, cameras) for number, step in enumerate(steps, 1))
    proposed = [f"{name}: {one.bus_id}" for name, one in cameras.items() if one.proposed]
    notes = [f"Assumed: {sentence}." for sentence in assumed.sentences]
    if proposed:
        notes.append(f"IDs proposed because several cameras of a line have the same planned ID: {', '.join(proposed)}.")
    return said, " ".join(notes)


def _task(number: int, step: Step, cameras: Mapping[str, Planned]) -> Task:
    camera = cameras.get(step.camera)
    what, look = _SAID[step.do](_On(step, camera))
    handling = Value(show_time(step.handling), ASSUMED) if step.handling else None
    return Task(number, step.line or (camera.line if camera else ""), what, look, handling)


_Said = tuple[str, str]


@dataclass(frozen=True, slots=True)
class _On:
    """A step and its camera, with words that several steps use."""

    step: Step
    camera: Planned | None

    @property
    def name(self) -> str:
        return self.step.camera

    @property
    def where(self) -> str:
        return f"{self.name} ({self.camera.place})" if self.camera is not None and self.camera.place else self.name

    @property
    def bus_id(self) -> str:
        bus_id = self.camera.bus_id if self.step.bus_id is None and self.camera is not None else self.step.bus_id
        return "its ID" if bus_id is None else f"bus ID {bus_id}"

    @property
    def serial(self) -> str:
        return "" if self.camera is None or self.camera.serial is None else f"serial number {self.camera.serial}"

    @property
    def length(self) -> str:
        return show_time(self.step.length)


def _power(on: _On) -> _Said:
    if not on.step.on:
        return f"Switch off {on.where}", ""
    boot = f"; it starts in {show_time(on.camera.model.timing.boot)} (its model)" if on.camera is not None else ""
    return f"Switch on {on.where}{boot}", "voltage at the camera, as on the page of its line"


def _identify(on: _On) -> _Said:
    at = "its current ID" if on.step.bus_id is None else f"bus ID {on.step.bus_id}"
    what = f"Read the serial number at {at}, {on.step.times} times, and make {on.name} show itself"
    return what, on.serial or "write the serial number down"


def _dial(on: _On) -> _Said:
    said = [baud(on.step.baud)] if on.step.baud is not None else []
    said += [str(on.step.format)] if on.step.format is not None else []
    return f"Set the switches of {on.where} to {', '.join(said)}", ""


_SAID: dict[str, Callable[[_On], _Said]] = {
    "listen": lambda on: (f"Listen on {on.step.line} for {on.length}; send nothing", "no traffic"),
    "connect": lambda on: (f"Plug in {on.where}", "no other new camera is connected"),
    "disconnect": lambda on: (f"Unplug {on.where}", "" if on.step.through else "the pair ends there"),
    "power": _power,
    "cycle": lambda on: (f"Switch {on.name} off for {on.length} and on again", ""),
    "identify": _identify,
    "assign": lambda on: (
        f"Set {on.name} to {on.bus_id}" + (", SENT TO ALL" if on.step.broadcast else ""), "it answers there",
    ),
    "save": lambda on: (f"Save in {on.name}", "acknowledged does not mean saved: the next two steps show it"),
    "read-back": lambda on: (
        f"Read {on.name} at {on.bus_id}, {on.step.times} times", on.serial or "the same number each time",
    ),
    "test-picture": lambda on: (
        f"Test picture of {on.name} on, then off", f"visible on the input of {on.name} and on no other",
    ),
    "bindings": lambda on: (
        f"Move every control of {on.name} on {on.step.panel or 'each panel'}",
        f"{on.where} moves, and no other",
    ),
    "round": lambda on: (f"Poll every camera of {on.step.line} once", "all answer"),
    "wait": lambda on: (f"Wait {on.length}", ""),
    "mark": lambda on: (f"Write down the time: {on.step.text}", ""),
    "look": lambda on: ("Look", on.step.text),
    "swap": lambda on: (f"{'Swap' if on.step.on else 'Swap back'} the two wires of the pair at {on.where}", ""),
    "dial": _dial,
    "replace": lambda on: (f"Replace {on.where} with another unit", "its serial number"),
}  # fmt: skip

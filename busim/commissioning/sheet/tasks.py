"""The steps of a rehearsal as instructions for the crew: what to do and what to look for."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from busim.commissioning.rehearse import (
    CAUTIONS,
    OK,
    Assumed,
    Done,
    Planned,
    Rehearsal,
    Step,
    crews,
    generated,
    planned,
    rehearse,
    steps_of,
)
from busim.commissioning.sheet.model import ASSUMED, Task, Value
from busim.commissioning.sheet.said import baud
from busim.foundation.units import show_time
from busim.installation import Installation
from busim.plan import Plan
from busim.simulator.world import build


def tasks(site: Installation, *, rehearsed: bool = False) -> tuple[tuple[Task, ...], str]:
    """The steps, written in the plan or generated from it, and a note with their assumptions.

    `rehearsed`: run the steps on the emulated site first, and print the result of each. Raises Findings if the
    `rehearsal` of the plan has mistakes.
    """
    plan = site.plan
    world = build(site, 1, lambda _: None, played=())
    cameras = planned(site, world)
    if plan.source:
        steps, assumed = steps_of(plan, cameras)
    else:  # built by a program: no text with steps
        steps, assumed = generated(plan, cameras, Assumed()), Assumed()
    run: Rehearsal | None = None
    if rehearsed and steps:
        world.start()
        run = rehearse(plan, world, cameras, steps, assumed)
    results = run.done if run is not None else (None,) * len(steps)
    said = tuple(
        _task(number, step, cameras, done)
        for number, (step, done) in enumerate(zip(steps, results, strict=True), 1)
    )  # fmt: skip
    return said, " ".join(_notes(plan, cameras, assumed, run))


def _notes(plan: Plan, cameras: Mapping[str, Planned], assumed: Assumed, run: Rehearsal | None) -> Iterator[str]:
    if run is not None and run.ok:
        yield "These steps passed in a rehearsal on the emulated site; nothing was tried on the real one."
    elif run is not None:
        yield f"CAUTION: {len(run.failed)} of these steps FAILED in the rehearsal on the emulated site. Mend the plan."
    for sentence in assumed.sentences:
        yield f"Assumed: {sentence}."
    proposed = [f"{name}: {one.bus_id}" for name, one in cameras.items() if one.proposed]
    if proposed:
        yield f"IDs proposed because several cameras of a line have the same planned ID: {', '.join(proposed)}."
    groups = crews(plan)
    if len(groups) > 1:
        side = " | ".join(", ".join(group) for group in groups)
        yield (
            f"These lines share no supply and no box, so {len(groups)} crews can work side by side, each with a "
            f"laptop: {side}."
        )


def _task(number: int, step: Step, cameras: Mapping[str, Planned], done: Done | None) -> Task:
    camera = cameras.get(step.camera)
    what, look = instruction(step, camera)
    handling = Value(show_time(step.handling), ASSUMED) if step.handling else None
    line = step.line or (camera.line if camera else "")
    return Task(number, line, what, look, handling, _result(done), CAUTIONS.get(step.do, ""))


def instruction(step: Step, camera: Planned | None) -> tuple[str, str]:
    """A step in words: what to do, and what to look for."""
    return _SAID[step.do](_On(step, camera))


def _result(done: Done | None) -> str:
    """What came of the step in the rehearsal, where it was not simply right."""
    if done is None or done.outcome == OK:
        return ""
    if done.reason is not None:
        return f"FAILED IN THE REHEARSAL: {done.reason.why}"
    return f"skipped in the rehearsal: {done.seen}"


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
    def along(self) -> str:
        """The stations that lose their power with it."""
        return f" This takes along: {', '.join(self.step.along)}." if self.step.along else ""

    @property
    def note(self) -> str:
        return f"; {self.camera.note}" if self.camera is not None and self.camera.note else ""

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


def _port(on: _On) -> str:
    port = on.camera.port if on.camera is not None else (on.step.baud, on.step.format)
    return f"{baud(on.step.baud or port[0] or Fraction(0))} {on.step.format or port[1]}"


def _boots(on: _On) -> str:
    return f"; {on.name} takes {show_time(on.camera.model.timing.boot)} (its model)" if on.camera is not None else ""


def _supply(on: _On) -> _Said:
    if on.step.on:
        return (
            f"Switch {on.step.supply} on.{on.along}",
            "everybody off the cable before; voltage at the camera, as on the page of its line",
        )
    return f"Switch {on.step.supply} off, and lock it off.{on.along}", "measured at the plug: no voltage"


def _tune(on: _On) -> _Said:
    if on.step.baud is None and on.step.format is None:
        return (
            f"Set the converter of {on.step.line} back to the baud and format of its page",
            "cameras set before answer again",
        )
    said = [baud(on.step.baud)] if on.step.baud is not None else []
    said += [str(on.step.format)] if on.step.format is not None else []
    return f"Set the converter of {on.step.line} to {' '.join(said)}, the factory settings of the next cameras", ""


def _assign(on: _On) -> _Said:
    everybody = ", SENT TO ALL" if on.step.broadcast else ""
    what = f"Set {on.name} to {on.bus_id}{everybody}"
    when = "at-once" if on.camera is None else on.camera.model.bus.id_takes_effect
    if when == "at-once":
        return what, "it answers there"
    return what, f"acknowledged; it has this ID only {when.replace('-', ' ')}, and answers at its old one until then"


def _save(on: _On) -> _Said:
    camera = on.camera
    if camera is None:
        return f"Save in {on.name}", ""
    bus_id = camera.bus_id if camera.model.bus.id_takes_effect == "at-once" else camera.factory_id
    if on.step.bus_id is not None:
        bus_id = on.step.bus_id
    wait = show_time(camera.model.timing.save)
    return (
        f"Save in {on.name}, at bus ID {bus_id}; wait {wait} (its model)",
        "acknowledged does not mean saved: it is read back later",
    )


def _test_picture(on: _On) -> _Said:
    if on.camera is not None and all(one.meaning != "test_picture" for one in on.camera.model.parameters):
        return (
            f"Look at the picture of {on.name}: it has no test picture",
            f"the input of {on.name} shows the view from {on.where}",
        )
    return f"Test picture of {on.name} on, then off", f"visible on the input of {on.name} and on no other"


_SAID: dict[str, Callable[[_On], _Said]] = {
    "listen": lambda on: (f"Listen on {on.step.line} for {on.length}; send nothing", "no traffic"),
    "connect": lambda on: (
        f"Plug in {on.where}{on.note}",
        "supplies of this cable off, measured dead; no other new camera connected",
    ),
    "disconnect": lambda on: (
        f"Unplug {on.where}{on.note}",
        "every supply of this cable off" + ("" if on.step.through else "; the pair ends there"),
    ),
    "supply": _supply,
    "tune": _tune,
    "set-port": lambda on: (
        f"Set {on.name} to {_port(on)}", "acknowledged; in force after its next start: it is silent then",
    ),
    "power": _power,
    "cycle": lambda on: (
        f"Switch {on.step.supply or on.name} off for {on.length} and on again.{on.along}",
        f"all start again{_boots(on)}" if on.step.along else f"it starts again{_boots(on)}",
    ),
    "identify": _identify,
    "assign": _assign,
    "save": _save,
    "read-back": lambda on: (
        f"Read {on.name} at {on.bus_id}, {on.step.times} times", on.serial or "the same number each time",
    ),
    "test-picture": _test_picture,
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

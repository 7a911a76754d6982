"""Draws cases: fault schedules and operators' moves, from nothing or as a change of an interesting case."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from busim.foundation.errors import Defect, UserError
from busim.installation import resolve
from busim.plan import Plan
from busim.protocols import STEP, BusProtocol, Request
from busim.simulator.faults import Fault, Parameter, find_fault
from busim.simulator.kernel import Stream
from busim.testing.fuzzing.case import Action, Case, FaultEvent
from busim.testing.fuzzing.injected import KINDS, LINE_KINDS

MS = 1_000_000
SECOND = 1000 * MS
_LENGTHS = (4, 6, 8, 12)  # s: the last one lets a camera go offline and the others be compared
_USUAL = {  # values from weak to strong, as written in a plan
    "time": ("2 ms", "7 ms", "12 ms", "20 ms", "45 ms", "150 ms", "600 ms", "2 s"),
    "share": ("1", "0.5", "0.1"),
    "rate": ("1 /s", "5 /s", "20 /s", "100 /s"),
    "count": ("1", "2", "3", "5", "8"),
}
_FAULTS, _ACTIONS = 3, 6  # at most, in a new case


@dataclass(frozen=True, slots=True)
class Control:
    """A control that an operator can move, from `low` to `high`."""

    camera: str
    name: str
    low: int
    high: int


@dataclass(frozen=True, slots=True)
class Space:
    """The possible events of a plan."""

    cameras: tuple[str, ...]
    lines: tuple[str, ...]
    converters: tuple[str, ...]
    controls: tuple[Control, ...]
    kinds: tuple[str, ...]
    steps: bool
    length: int = 0  # ns of each case; 0: drawn


def space_of(plan: Plan, master: str | None = None, kinds: Sequence[str] = KINDS) -> Space:
    """What can happen to the cameras that `master` (the plan's first where None) asks, to lines and converters.

    `kinds`: names of faults, of the catalogue or of the campaign's own. Raises Findings for a plan that cannot be
    built, UserError for a fault that there is not.
    """
    site = resolve(plan)
    name = plan.masters[0].name if master is None else master
    askers = list(site.askers(name))
    cameras = {one.name: one for asker in askers for one in asker.cameras}
    controls = []
    for camera in cameras.values():
        model, keys = camera.model, camera.speaks.keys
        moved = {motor.moves for motor in model.motors} | {one.name for one in model.controls}
        locked = {lock.when for lock in model.locks}
        for one in model.parameters:
            if one.writable and one.kind == "range" and one.name in keys and one.name not in moved | locked:
                controls.append(Control(camera.name, one.name, one.low, one.high))
    steps = all(asker.protocol is not None and _has_steps(asker.protocol) for asker in askers)
    lines = tuple(asker.line for asker in askers)
    converters = tuple(asker.box.name for asker in askers if asker.box is not None)
    known = [kind for kind in kinds if kind in KINDS or converters or find_fault(kind).on != "converter"]
    return Space(tuple(cameras), lines, converters, tuple(controls), tuple(known), steps)


def _has_steps(protocol: BusProtocol) -> bool:
    try:
        return bool(protocol.encode_request(Request(protocol.addresses[0], STEP, 0, 1, (1,))))
    except Defect:
        return False


def fresh(space: Space, stream: Stream) -> Case:
    """A new case."""
    length = space.length or _LENGTHS[stream.between(0, len(_LENGTHS) - 1)] * SECOND
    faults = tuple(_fault(space, stream, length) for _ in range(stream.between(1, _FAULTS)))
    count = stream.between(0, _ACTIONS) if space.controls else 0
    actions = tuple(_action(space, stream, length) for _ in range(count))
    return Case(stream.between(1, 2**31), length, _ordered(faults), tuple(sorted(actions)))


def mutated(space: Space, case: Case, other: Case, stream: Stream) -> Case:
    """A case with a change, or with a part of another one."""
    faults, actions = list(case.faults), list(case.actions)
    what = stream.between(0, 6 if space.controls else 4)
    if what == 0 or not faults:
        faults.append(_fault(space, stream, case.length))
    elif what == 1:
        faults[stream.between(0, len(faults) - 1)] = _fault(space, stream, case.length)
    elif what == 2:
        number = stream.between(0, len(faults) - 1)
        one = faults[number]
        faults[number] = one._replace(at=_instant(stream, case.length), amount=_amount(stream))
    elif what == 3:
        number = stream.between(0, len(faults) - 1)
        faults[number] = faults[number]._replace(length=_duration(stream))
    elif what == 4:
        faults += other.faults[: stream.between(0, len(other.faults))]
    elif what == 5:
        actions += [_action(space, stream, case.length) for _ in range(stream.between(1, _ACTIONS))]
    else:  # a move in the middle of a fault
        one = faults[stream.between(0, len(faults) - 1)]
        at = min(case.length - 1, one.at + stream.between(0, max(1, min(one.length, SECOND))))
        actions += [_action(space, stream, case.length)._replace(at=at) for _ in range(stream.between(1, 3))]
    return replace(case, faults=_ordered(faults[:6]), actions=tuple(sorted(actions[:16])))


def _ordered(faults: Sequence[FaultEvent]) -> tuple[FaultEvent, ...]:
    return tuple(sorted(faults, key=lambda one: (one.at, one.kind, one.target)))


def _fault(space: Space, stream: Stream, length: int) -> FaultEvent:
    kind = space.kinds[stream.between(0, len(space.kinds) - 1)]
    if kind not in KINDS:
        return _of_the_catalogue(space, find_fault(kind), stream, length)
    of = space.lines if kind in LINE_KINDS else space.cameras
    target = of[stream.between(0, len(of) - 1)]
    return FaultEvent(kind, target, _instant(stream, length), _duration(stream), _amount(stream))


def _of_the_catalogue(space: Space, fault: Fault, stream: Stream, length: int) -> FaultEvent:
    """A fault with each of its parameters at its default or at a usual value within its bounds."""
    of = {"camera": space.cameras, "line": space.lines, "converter": space.converters}[fault.on]
    target = of[stream.between(0, len(of) - 1)]
    written = []
    for parameter in fault.parameters:
        usual = usual_values(parameter)
        if usual and stream.between(0, 1):
            written.append((parameter.name, usual[stream.between(0, len(usual) - 1)]))
    return FaultEvent(fault.name, target, _instant(stream, length), _duration(stream), 0, tuple(written))


def usual_values(parameter: Parameter) -> list[str]:
    """Usual values of a fault's parameter, from weak to strong, as written in a plan; each within its bounds."""
    return [text for text in (*parameter.words, *_USUAL.get(parameter.kind, ())) if _allowed(parameter, text)]


def _allowed(parameter: Parameter, text: str) -> bool:
    try:
        parameter.read(text)
    except UserError:
        return False
    return True


def _instant(stream: Stream, length: int) -> int:
    """Not before one good second, which judges use for comparison."""
    return stream.between(1200, max(1201, length * 3 // (4 * MS))) * MS


def _duration(stream: Stream) -> int:
    return (20, 60, 200, 600, 2000, 8000)[stream.between(0, 5)] * MS


def _amount(stream: Stream) -> int:
    """Milliseconds, bytes or a number of times, depending on the fault."""
    return (1, 2, 5, 8, 12, 20, 30, 45, 80, 150)[stream.between(0, 9)]


def _action(space: Space, stream: Stream, length: int) -> Action:
    control = space.controls[stream.between(0, len(space.controls) - 1)]
    at = stream.between(SECOND // MS, max(SECOND // MS + 1, length // MS - 600)) * MS
    if space.steps and stream.between(0, 1):
        return Action(at, control.camera, control.name, stream.between(1, 3), True)
    return Action(at, control.camera, control.name, stream.between(control.low, control.high))

"""Draws cases: fault schedules and operators' moves, from nothing or as a change of an interesting case.

Half of the faults come from the short list of those that are behind most defects of controllers; the others are dealt
from a shuffled deck of the whole catalogue, so a short campaign does not draw one twice while another waits. A fault
that was dealt three times and never took effect on this plan is dealt no more.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from types import MappingProxyType

from busim.foundation.errors import Defect, UserError
from busim.installation import resolve
from busim.plan import Plan
from busim.protocols import STEP, BusProtocol, Request
from busim.simulator.faults import Parameter, all_faults, find_fault
from busim.simulator.kernel import Stream
from busim.testing.fuzzing.case import Action, Case, FaultEvent

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
_LONG, _EARLY = 8 * SECOND, 3 * SECOND  # ns
_COMPARED = 2  # cameras beside a dead one, of which one is left to compare
_DEALT = 3  # times that a fault without effect is tried
# Behind most defects of controllers (common practice, no source).
_COMMON = (
    "late-reply", "lost-reply", "damaged-reply", "wrong-id-reply", "malformed-reply", "double-reply", "dead-camera",
    "stuck-transmitter", "idle-noise", "dropped-connections", "converter-reboot",
)  # fmt: skip
# Drawn only when asked for by name: no controller can pass, so a failure would say nothing about it.
NOT_DRAWN: Mapping[str, str] = MappingProxyType(
    {
        "echo": "a line has an echo or not, and a controller is set up for it; an echo that comes and goes looks like "
        "the acknowledgement of a write",
        "duplicate-id": "two cameras with one bus ID are a mistake of the installation; the judge address-plan finds "
        "it, whoever asks",
        "answers-any-id": "a sound reply with the right bus ID is the answer, whichever camera sends it",
        "undetected-damage": "the check holds, so the damage is in no controller's reach",
    }
)


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


def space_of(plan: Plan, master: str | None = None, kinds: Sequence[str] | None = None) -> Space:
    """What can happen to the cameras that `master` (the plan's first where None) asks, to lines and converters.

    `kinds`: names of faults; None: the whole catalogue but for `NOT_DRAWN`. Raises Findings for a plan that cannot be
    built, UserError for a fault that there is not.
    """
    if kinds is None:
        kinds = [name for name in all_faults() if name not in NOT_DRAWN]
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
    known = [kind for kind in kinds if converters or find_fault(kind).on != "converter"]
    return Space(tuple(cameras), lines, converters, tuple(controls), tuple(known), steps)


def _has_steps(protocol: BusProtocol) -> bool:
    try:
        return bool(protocol.encode_request(Request(protocol.addresses[0], STEP, 0, 1, (1,))))
    except Defect:
        return False


class Drawing:
    """Draws the cases of one campaign from `stream`."""

    def __init__(self, space: Space, stream: Stream) -> None:
        self.space = space
        self._stream = stream
        self._common = tuple(kind for kind in _COMMON if kind in space.kinds)
        self._deck: list[str] = []
        self._dealt: Counter[str] = Counter()
        self._effective: set[str] = set()

    def learn(self, effective: Collection[str]) -> None:
        """These faults took effect."""
        self._effective.update(effective)

    def fresh(self) -> Case:
        """A new case."""
        space, stream = self.space, self._stream
        length = space.length or _LENGTHS[stream.between(0, len(_LENGTHS) - 1)] * SECOND
        faults = [self._fault(length) for _ in range(stream.between(1, _FAULTS))]
        if not space.length:
            length, faults = _with_time_for_the_dead(length, faults)
            if length == _LENGTHS[-1] * SECOND:
                faults += self._also_dead(faults)
        count = stream.between(0, _ACTIONS) if space.controls else 0
        actions = tuple(_action(space, stream, length) for _ in range(count))
        return Case(stream.between(1, 2**31), length, _ordered(faults), tuple(sorted(actions)))

    def _also_dead(self, faults: Sequence[FaultEvent]) -> list[FaultEvent]:
        """Half of the time others are dead with a dead camera, at most all but one: the time that one costs may be too
        short to tell.
        """
        stream = self._stream
        dead = [one for one in faults if one.kind == "dead-camera" and one.length >= _LONG]
        others = [one for one in self.space.cameras if all(one != fault.target for fault in dead)]
        if len(dead) != 1 or len(others) < _COMPARED or stream.between(0, 1):
            return []
        also = []
        for _ in range(stream.between(1, len(others) - 1)):
            also.append(dead[0]._replace(target=others.pop(stream.between(0, len(others) - 1))))
        return also

    def mutated(self, case: Case, other: Case) -> Case:
        """A case with a change, or with a part of another one."""
        space, stream = self.space, self._stream
        faults, actions = list(case.faults), list(case.actions)
        what = stream.between(0, 7 if space.controls else 5)
        number = stream.between(0, len(faults) - 1) if faults else 0
        if what == 0 or not faults:
            faults.append(self._fault(case.length))
        elif what == 1:
            faults[number] = self._fault(case.length)
        elif what == 2:
            faults[number] = faults[number]._replace(at=_instant(stream, case.length))
        elif what == 3:
            faults[number] = faults[number]._replace(length=_duration(stream))
        elif what == 4:
            faults[number] = faults[number]._replace(parameters=_parameters(faults[number].kind, stream))
        elif what == 5:
            faults += other.faults[: stream.between(0, len(other.faults))]
        elif what == 6:
            actions += [_action(space, stream, case.length) for _ in range(stream.between(1, _ACTIONS))]
        else:  # a move in the middle of a fault
            one = faults[number]
            at = min(case.length - 1, one.at + stream.between(0, max(1, min(one.length, SECOND))))
            actions += [_action(space, stream, case.length)._replace(at=at) for _ in range(stream.between(1, 3))]
        return replace(case, faults=_ordered(faults[:6]), actions=tuple(sorted(actions[:16])))

    def _fault(self, length: int) -> FaultEvent:
        """A fault with each of its parameters at its default or at a usual value within its bounds."""
        space, stream = self.space, self._stream
        if self._common and stream.between(0, 1):
            kind = self._common[stream.between(0, len(self._common) - 1)]
        else:
            kind = self._next()
        of = {"camera": space.cameras, "line": space.lines, "converter": space.converters}[find_fault(kind).on]
        target = of[stream.between(0, len(of) - 1)]
        lasts = _duration(stream)
        if kind == "dead-camera" and stream.between(0, 1):
            lasts = _LONG
        return FaultEvent(kind, target, _instant(stream, length), lasts, _parameters(kind, stream))

    def _next(self) -> str:
        """The next of the deck."""
        if not self._deck:
            kinds = self.space.kinds
            left = [one for one in kinds if one in self._effective or self._dealt[one] < _DEALT] or list(kinds)
            while left:
                self._deck.append(left.pop(self._stream.between(0, len(left) - 1)))
        kind = self._deck.pop()
        self._dealt[kind] += 1
        return kind


def _with_time_for_the_dead(length: int, faults: list[FaultEvent]) -> tuple[int, list[FaultEvent]]:
    """A camera that is dead for long is so early in a long case: only then the others can be compared."""
    if not any(one.kind == "dead-camera" and one.length >= _LONG for one in faults):
        return length, faults
    early = [one._replace(at=min(one.at, _EARLY)) if one.kind == "dead-camera" else one for one in faults]
    return _LENGTHS[-1] * SECOND, early


def _ordered(faults: Sequence[FaultEvent]) -> tuple[FaultEvent, ...]:
    """In the order of time; each fault once at a place, since it cannot be on there twice."""
    once = {(one.kind, one.target): one for one in reversed(faults)}
    return tuple(sorted(once.values(), key=lambda one: (one.at, one.kind, one.target)))


def _parameters(kind: str, stream: Stream) -> tuple[tuple[str, str], ...]:
    written = []
    for parameter in find_fault(kind).parameters:
        usual = usual_values(parameter)
        if usual and stream.between(0, 1):
            written.append((parameter.name, usual[stream.between(0, len(usual) - 1)]))
    return tuple(written)


@lru_cache(512)
def usual_values(parameter: Parameter) -> tuple[str, ...]:
    """Usual values of a fault's parameter, from weak to strong, as written in a plan; each within its bounds."""
    return tuple(text for text in (*parameter.words, *_USUAL.get(parameter.kind, ())) if _allowed(parameter, text))


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


def _action(space: Space, stream: Stream, length: int) -> Action:
    control = space.controls[stream.between(0, len(space.controls) - 1)]
    at = stream.between(SECOND // MS, max(SECOND // MS + 1, length // MS - 600)) * MS
    if space.steps and stream.between(0, 1):
        return Action(at, control.camera, control.name, stream.between(1, 3), True)
    return Action(at, control.camera, control.name, stream.between(control.low, control.high))

"""Trials of a camera model: a camera of it is polled, locked, moved, saved and cut off, and its behaviour compared with
the model.

Mistakes visible in the file are refused by the reader. These trials find the combined effects: that every lock can be
opened again, that every range can be used from end to end, that a save keeps its values.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

from busim.foundation.diagnostics import Findings
from busim.foundation.errors import UserError
from busim.plan.models import Model, Parameter
from busim.protocols import CHANGE_ID, PRESET, READ, SAVE, START, STEP, STOP, WRITE, BusProtocol, Request, find, spoken
from busim.simulator.cameras import Camera
from busim.simulator.kernel import Chance
from busim.testing.protocol_checks import Proof, Verdict, listed

_KEYS = "proof"  # an artificial protocol: a key for everything, by its number
_SECOND = 10**9
_DAY = 24 * 3600 * _SECOND
_MOST_COUNTS = 64
_REQUESTS = 3000
_VERBS = (READ, WRITE, WRITE, WRITE, STEP, START, STOP, CHANGE_ID, SAVE, PRESET)


def prove_model(model: Model, protocols: Mapping[str, BusProtocol] | None = None) -> Proof:
    """Try the model, with `protocols` (by name) besides those of busim. Takes less than a second for a usual camera."""
    verdicts = (
        _verdict("every value can be set to both of its ends, unless locked", model, _ends),
        _verdict("every lock refuses its parameters, and releases them again", model, _locks),
        _verdict("every limit holds at its end, and one count beyond it is refused", model, _limits),
        _verdict("every control moves its parameters by one amount, and back again", model, _controls),
        _verdict("every motor reaches both ends, and stops unless started again", model, _motors),
        _verdict("a stored preset restores its values", model, _presets),
        _verdict("a loss of power loses unsaved values and nothing else", model, _power),
        _verdict("random requests leave every value within its range and limits", model, _random),
    )
    return Proof(
        model.name, model.title, (_protocols(model, protocols or {}), *(one for one in verdicts if one.tried)), ()
    )


def _verdict(what: str, model: Model, trial: Callable[[Model], Iterator[str]]) -> Verdict:
    said = list(trial(model))
    wrong = [line for line in said if line]
    return Verdict(what, len(said), not wrong, listed(wrong))


def _protocols(model: Model, known: Mapping[str, BusProtocol]) -> Verdict:
    wrong, notes, tried = [], [], 0
    for name in model.keys:
        try:
            protocol = known.get(name) or find(name)
        except UserError:
            notes.append(f"{name}: not tried, since there is no protocol of this name here")
            continue
        tried += 1
        try:
            spoken(model, protocol)
        except Findings as error:
            wrong.append(f"{name}: {error.findings[0].what}")
        except UserError as error:
            wrong.append(f"{name}: {error.what}; found {error.found}")
    if not model.keys:
        notes.append("the model has no keys: a protocol file must give them")
    what = "every protocol carries all keys and both ends of all values"
    return Verdict(what, tried, not wrong, listed(wrong + notes))


class _Trial:
    """A camera of the model, polled by name. A day lies between two requests, so motors have stopped."""

    def __init__(self, model: Model) -> None:
        names = [*(one.name for one in model.parameters), *(order.name for order in model.orders)]
        keys = {name: number for number, name in enumerate(names)}
        orders = {order.name: keys.pop(order.name) for order in model.orders}
        self.model = replace(model, keys={_KEYS: keys}, order_keys={_KEYS: orders})
        self.camera = Camera(self.model, _KEYS, 1, 1)
        self.keys = keys
        self.now = 0

    def ask(self, verb: str, name: str, *values: int, after: int = _DAY) -> int:
        self.now += after
        self.camera.woken(self.now)
        return self.camera.serve(Request(1, verb, self.keys[name], len(values), values), self.now).refused

    def set(self, name: str, value: int) -> int:
        return self.ask(WRITE, name, value)

    def get(self, name: str, after: int = _DAY) -> int:
        self.now += after
        self.camera.woken(self.now)
        return self.camera.values[name]

    def free(self, name: str) -> None:
        """Open the locks of a parameter that are closed now."""
        for lock in self.model.locks:
            if name in lock.locks and self.camera.values[lock.when] == lock.equals:
                self.set(lock.when, _other(self.model, lock.when, lock.equals))


def _other(model: Model, name: str, count: int) -> int:
    parameter = next(one for one in model.parameters if one.name == name)
    return parameter.low if parameter.low != count else parameter.high


def _settable(model: Model) -> Iterator[Parameter]:
    """The parameters that can be set to any count of their range: neither limited nor moving others."""
    special = {limit.limits for limit in model.limits} | {control.name for control in model.controls}
    lamps = {one.name for one in model.parameters if one.meaning == "identify"}
    for one in model.parameters:
        if one.writable and one.name not in special | lamps:
            yield one


def _ends(model: Model) -> Iterator[str]:
    for one in _settable(model):
        for end in (one.low, one.high):
            trial = _Trial(model)
            trial.free(one.name)
            refused = trial.set(one.name, end)
            found = trial.get(one.name)
            yield "" if not refused and found == end else f"{one.name} does not get to {end}: it stands at {found}"


def _locks(model: Model) -> Iterator[str]:
    plain = {one.name for one in _settable(model)}
    for lock in model.locks:
        for name in lock.locks:
            trial = _Trial(model)
            trial.camera.values[lock.when] = lock.equals  # set so, since a reading may lock, too
            before = trial.get(name)
            yield "" if trial.set(name, before) else f"{lock.when} at {lock.equals} does not lock {name}"
            trial.camera.values[lock.when] = _other(model, lock.when, lock.equals)
            trial.free(name)
            if name in plain:
                yield "" if not trial.set(name, before) else f"{name} stays locked: {trial.camera.locked(name)}"


def _limits(model: Model) -> Iterator[str]:
    table = {one.name: one for one in model.parameters}
    for limit in model.limits:
        by, one = table[limit.by], table[limit.limits]
        counts = range(by.low, by.high + 1)
        step = max(1, len(counts) // _MOST_COUNTS)
        for count in dict.fromkeys((*counts[::step], *limit.lowest, *limit.highest, by.high)):
            trial = _Trial(model)
            trial.free(limit.by)
            trial.free(one.name)
            trial.camera.values[limit.by] = count
            same = [other for other in model.limits if other.limits == limit.limits]
            low = max(one.low, *(other.floor(trial.camera.values[other.by]) for other in same))
            high = min(one.high, *(other.ceiling(trial.camera.values[other.by]) for other in same))
            place = f"{one.name} with {by.name} at {count}"
            for end in (low, high):
                yield "" if not trial.set(one.name, end) else f"{place} does not get to {end}"
            for beyond in {low - 1, high + 1} & set(range(one.low, one.high + 1)):
                yield "" if trial.set(one.name, beyond) else f"{place} gets to {beyond}"


def _controls(model: Model) -> Iterator[str]:
    table = {one.name: one for one in model.parameters}
    for control in model.controls:
        trial = _Trial(model)
        for name in (control.name, *control.moves, *control.against):
            trial.free(name)
        values = trial.camera.values
        moved = [*((name, 1) for name in control.moves), *((name, -1) for name in control.against)]
        before = {name: values[name] for name, _ in moved}
        start = values[control.name]
        for target in (table[control.name].high, table[control.name].low):
            trial.set(control.name, target)
            way = values[control.name] - start
            good = all(values[name] - before[name] == sign * way for name, sign in moved)
            yield "" if good else f"{control.name} moved by {way} does not move all by as much"
            trial.set(control.name, start)
            back = all(values[name] == before[name] for name, _ in moved)
            yield "" if back else f"{control.name} moved to {target} and back does not bring all back"


def _motors(model: Model) -> Iterator[str]:
    table = {one.name: one for one in model.parameters}
    for motor in model.motors:
        one = table[motor.moves]
        for percent, end in ((100, one.high), (-100, one.low)):
            trial = _Trial(model)
            trial.free(one.name)
            tick = min(motor.dead_man, _SECOND) or _SECOND
            for _ in range(int((one.high - one.low) / motor.speed * _SECOND / tick) + 2):
                trial.ask(START, one.name, percent, after=tick)
            found = trial.get(one.name)
            yield "" if found == end else f"{one.name} does not get to {end}: it stands at {found}"
        if motor.dead_man:
            trial = _Trial(model)
            trial.free(one.name)
            begin = trial.get(one.name)
            percent = 100 if begin - one.low < one.high - begin else -100
            trial.ask(START, one.name, percent)
            way = abs(trial.get(one.name) - begin)
            most = motor.speed * motor.dead_man / _SECOND
            yield "" if way <= most else f"{one.name} runs on by {way} counts without anybody"


def _presets(model: Model) -> Iterator[str]:
    if not model.presets.number:
        return
    trial = _Trial(model)
    state = trial.camera
    stored = {name: state.values[name] for name in model.presets.holds}
    state.store(1)
    for one in _settable(model):
        trial.free(one.name)
        trial.set(one.name, one.high)
    for name in model.presets.holds:
        trial.free(name)
    trial.now += _DAY
    state.woken(trial.now)
    state.serve(Request(1, PRESET, 0, 1, (1,)), trial.now)
    for name, value in stored.items():
        found = trial.get(name)
        yield "" if found == value or state.locked(name) else f"{name} comes back as {found}, and {value} was stored"


def _power(model: Model) -> Iterator[str]:
    driven = {motor.moves for motor in model.motors}
    for one in _settable(model):
        if one.name in driven:
            continue
        trial = _Trial(model)
        trial.free(one.name)
        kept = one.high if one.default != one.high else one.low
        trial.set(one.name, kept)
        trial.camera.serve(Request(1, SAVE, 0, 0), trial.now)
        trial.set(one.name, one.default)
        trial.camera.cut(trial.now)
        trial.camera.booted(trial.now)
        wanted = kept if one.saved else one.default
        found = trial.camera.values[one.name]
        yield "" if found == wanted else f"{one.name} is {found} after a loss of power, and not {wanted}"


def _random(model: Model) -> Iterator[str]:
    trial = _Trial(model)
    stream = Chance(1).stream("proof", model.name)
    camera, table = trial.camera, {one.name: one for one in model.parameters}
    keys = len(model.parameters) + len(model.orders)
    for number in range(_REQUESTS):
        verb = _VERBS[stream.between(0, len(_VERBS) - 1)]
        key = stream.between(0, keys)
        low, high = (-2, 300) if stream.between(0, 1) else (-100, 65535)
        sizes = {READ: stream.between(0, 4), STOP: 0, SAVE: 0}
        size = sizes.get(verb, 1)
        values = () if verb == READ else tuple(stream.between(low, high) for _ in range(size))
        trial.now += stream.between(0, _SECOND)
        camera.woken(trial.now)
        camera.serve(Request(1, verb, key, size, values), trial.now)
        camera.look(trial.now)
        bad = [name for name, value in camera.values.items() if not table[name].low <= value <= table[name].high]
        bad += [
            limit.limits
            for limit in model.limits
            if not limit.floor(camera.values[limit.by])
            <= camera.values[limit.limits]
            <= limit.ceiling(camera.values[limit.by])
        ]
        yield "" if not bad else f"request {number}: {bad[0]} is {camera.values[bad[0]]}"

"""The state of a camera: values, motions, saved values; and the effects of one change on the rest.

Every way in (a write, a step, a preset, a motion) ends here, so none avoids a lock or a limit.
"""

from __future__ import annotations

from typing import Final

from mypy_extensions import mypyc_attr

from busim.plan.models import Model
from busim.protocols import FAILED, ILLEGAL_KEY, ILLEGAL_VALUE
from busim.simulator.cameras.actions import Action, Changed, Did, NewId, NewPort, Wake
from busim.simulator.cameras.motors import Motion, driven, towards
from busim.simulator.cameras.table import Table

FULL: Final = 100  # percent of a motor's speed


@mypyc_attr(allow_interpreted_subclasses=True)
class State:
    """The state of one camera. `values`: parameter name to value; of a motor, the position at the last look.

    Times are ns. Changes go to `actions`; a refusal is the code of its reason, and `why` says more.
    """

    def __init__(self, model: Model, table: Table, bus_id: int, serial: int, addresses: tuple[int, int]) -> None:
        self.model = model
        self.table = table
        self.bus_id = bus_id
        self.addresses = addresses
        self.why = ""
        self.values = {parameter.name: parameter.default for parameter in model.parameters}
        self.motions: dict[str, Motion] = {}
        self.actions: list[Action] = []
        self.lamp_until = 0
        self.presets: dict[int, dict[str, int]] = {}
        self._touched: list[str] = []
        self._told: dict[str, int] = {}  # of moving parameters: the last position reported
        self._saved = self._worth_saving()
        self._new_id = self._kept_id = bus_id
        self._new_port: NewPort | None = None  # None: as it was fitted
        self._kept_port: NewPort | None = None
        self._started = 0
        self.read_out("bus_id", bus_id)
        self.read_out("serial", serial & 0xFFFF)

    def read_out(self, name: str, value: int) -> None:
        """Set one of the readings that the camera keeps itself, if the model has it."""
        if name in self.values and not self.table.parameters[name].writable:
            self.values[name] = value

    def begin_with(self, values: dict[str, int]) -> None:
        """Set these values, and keep them over a power cut."""
        self.values.update(values)
        self._saved = self._worth_saving()

    # -- locks and single changes -----------------------------------------------------------------------------

    def locked(self, name: str) -> str:
        """Why the parameter cannot be written now, or "" if it can; a control is locked with the
        parameters it moves.
        """
        for lock in self.table.locks[name]:
            if self.values[lock.when] == lock.equals:
                return lock.reason
        control = self.table.controls.get(name)
        if control is not None:
            for moved in (*control.moves, *control.against):
                for lock in self.table.locks[moved]:
                    if self.values[lock.when] == lock.equals:
                        return lock.reason
        return ""

    def _refuse(self, code: int, why: str) -> int:
        self.why = why
        return code

    def put(self, name: str, value: int, at: int) -> int:
        """Set one parameter: 0, or the code of the refusal."""
        parameter = self.table.parameters[name]
        if not parameter.writable:
            return self._refuse(ILLEGAL_KEY, "it is only read")
        if not parameter.low <= value <= parameter.high:
            return self._refuse(ILLEGAL_VALUE, "beyond its range")
        reason = self.locked(name)
        if reason:
            return self._refuse(ILLEGAL_VALUE, reason)
        if name in self.table.limits:
            low, high = self.table.bounds(name, self.values)
            if not low <= value <= high:
                return self._refuse(ILLEGAL_VALUE, self.table.out_of_reach(name))
        self._apply(name, value, at)
        return 0

    def _apply(self, name: str, value: int, at: int) -> None:
        if name in self.table.motors:
            self._drive(name, towards(self.table.motors[name], self.values[name], value, at))
        elif name in self.table.controls:
            self._move_together(name, value)
        else:
            self._hold(name, value)
            if name == self.table.lamp:
                self._lamp(value, at)

    def _hold(self, name: str, value: int) -> None:
        """Store a value, and let the parameters that it limits follow."""
        self.values[name] = value
        self._touched.append(name)
        for limit in self.table.limiting.get(name, ()):
            low, high = self.table.bounds(limit.limits, self.values)
            self.values[limit.limits] = min(max(self.values[limit.limits], low), high)
            self._touched.append(limit.limits)

    def _move_together(self, name: str, value: int) -> None:
        """Move a control and its parameters by one amount, as far as all of them can go."""
        control, values, parameters = self.table.controls[name], self.values, self.table.parameters
        way = value - values[name]
        signs = [*((one, 1) for one in control.moves), *((one, -1) for one in control.against)]
        for one, sign in signs:
            up, down = parameters[one].high - values[one], parameters[one].low - values[one]
            way = max(min(way, up), down) if sign > 0 else max(min(way, -down), -up)
        for one, sign in ((name, 1), *signs):
            self._hold(one, values[one] + sign * way)

    def _lamp(self, value: int, at: int) -> None:
        length = self.model.timing.identify
        self.lamp_until = at + length if value and length else 0
        if self.lamp_until:
            self.actions.append(Wake(self.lamp_until))

    def write(self, names: list[str], given: tuple[int, ...], at: int) -> int:
        """Write all of it or nothing: 0, or the code of the refusal."""
        before, motions = dict(self.values), dict(self.motions)
        lamp = self.lamp_until
        for name, value in zip(names, given, strict=True):
            refused = self.put(name, value, at)
            if refused:
                self.values.update(before)
                self.motions, self.lamp_until = motions, lamp
                self.actions = []
                self._touched = []
                self.why = f"{name} {value}: {self.why}"
                return refused
        self._tell(before, at)
        return 0

    def _tell(self, before: dict[str, int], at: int) -> None:
        """Report changes, and stop motions that a newly closed lock forbids."""
        for name in list(self.motions):
            if self.locked(name):
                self.stop(name, at)
        for name in dict.fromkeys(self._touched):
            if before[name] != self.values[name]:
                self.actions.append(Changed(name, self.values[name]))
        self._touched = []

    def step(self, name: str, steps: int, at: int) -> int:
        """Step up or down by this many steps, as far as there is room."""
        motion = self.motions.get(name)
        low, high = self.table.bounds(name, self.values)
        now = self.values[name] if motion is None or motion.until is not None else motion.target
        wanted = now + steps * self.table.parameters[name].step
        return self.write([name], (min(max(wanted, low), high),), at)

    # -- motion -----------------------------------------------------------------------------------------------

    def _drive(self, name: str, motion: Motion) -> None:
        if motion.target == motion.start:
            if self.motions.pop(name, None) is not None:
                self._arrive(name, motion.start)
            return
        self.motions[name] = motion
        self._told.setdefault(name, motion.start)
        self.actions.append(Wake(motion.end))

    def start(self, name: str, percent: int, at: int) -> int:
        """Start a motion, up or down; 0 percent stops it."""
        motor, parameter = self.table.motors.get(name), self.table.parameters[name]
        if motor is None:
            return self._refuse(ILLEGAL_KEY, f"{name} has no motor")
        if not -FULL <= percent <= FULL:
            return self._refuse(ILLEGAL_VALUE, f"{name} at {percent}%: at most {FULL}% either way")
        reason = self.locked(name)
        if reason:
            return self._refuse(ILLEGAL_VALUE, f"{name}: {reason}")
        if not percent:
            self.stop(name, at)
            return 0
        target = parameter.high if percent > 0 else parameter.low
        self._drive(name, driven(motor, self.values[name], target, percent, at))
        return 0

    def stop(self, name: str, at: int) -> None:
        """Stop a motor at its position."""
        motion = self.motions.pop(name, None)
        if motion is not None:
            self._arrive(name, motion.at(at))

    def _arrive(self, name: str, position: int) -> None:
        self.values[name] = position
        if self._told.pop(name, None) != position:
            self.actions.append(Changed(name, position))

    def positions(self) -> list[Action]:
        """Report new positions of motors: a value that somebody reads on the way is a value the parameter had."""
        found: list[Action] = []
        for name in self.motions:
            if self._told.get(name) != self.values[name]:
                self._told[name] = self.values[name]
                found.append(Changed(name, self.values[name]))
        return found

    def look(self, at: int) -> None:
        """Find the positions of the motors at `at`."""
        for name, motion in self.motions.items():
            self.values[name] = motion.at(at)

    def settle(self, at: int) -> None:
        """End the motions and the identification that are over by `at`."""
        for name, motion in list(self.motions.items()):
            if motion.end <= at:
                del self.motions[name]
                self._arrive(name, motion.at(at))
        self.look(at)
        if self.lamp_until and self.lamp_until <= at:
            self.lamp_until = 0
            self.values[self.table.lamp] = 0
            self.actions.append(Changed(self.table.lamp, 0))

    # -- presets ----------------------------------------------------------------------------------------------

    def store(self, number: int) -> int:
        """Store the scene under a number."""
        if not 1 <= number <= self.model.presets.number:
            return self._refuse(ILLEGAL_VALUE, f"there is no preset {number}")
        self.presets[number] = {name: self.values[name] for name in self.table.recalled}
        self.actions.append(Did(f"stores preset {number}"))
        return 0

    def recall(self, number: int, at: int) -> int:
        """Recall a scene. Locked parameters stay unchanged."""
        if not 1 <= number <= self.model.presets.number:
            return self._refuse(ILLEGAL_VALUE, f"there is no preset {number}")
        scene = self.presets.get(number)
        if scene is None:
            return self._refuse(FAILED, f"preset {number} is empty")
        before = dict(self.values)
        for name in self.table.recalled:
            if self.locked(name):
                continue
            low, high = self.table.bounds(name, self.values)
            value = min(max(scene[name], low), high)
            if name in self.table.controls:  # the parameters it moves are in the scene too
                self._hold(name, value)
            else:
                self._apply(name, value, at)
        self._tell(before, at)
        self.actions.append(Did(f"recalls preset {number}"))
        return 0

    # -- what outlasts a power cut ----------------------------------------------------------------------------

    def _worth_saving(self) -> dict[str, int]:
        return {one.name: self.values[one.name] for one in self.model.parameters if one.saved}

    def save(self) -> None:
        """Save everything that the model saves."""
        self._saved = self._worth_saving()
        self._kept_id = self._new_id
        self._kept_port = self._new_port
        self.actions.append(Did("saves"))
        if self.model.bus.id_takes_effect == "after-save":
            self._become(self._new_id)

    def change_id(self, bus_id: int) -> int:
        """Take a new bus ID: now, or when the model says."""
        bus = self.model.bus
        if not self.addresses[0] <= bus_id <= self.addresses[1]:
            return self._refuse(
                ILLEGAL_VALUE, f"bus ID {bus_id}: it goes from {self.addresses[0]} to {self.addresses[1]}"
            )
        self._new_id = bus_id
        if bus.id_kept == "at-once" and bus.id_takes_effect != "after-save":
            self._kept_id = bus_id
        if bus.id_takes_effect == "at-once":
            self._become(bus_id)
        else:
            self.actions.append(Did(f"will have bus ID {bus_id} {bus.id_takes_effect.replace('-', ' ')}"))
        return 0

    def change_port(self, number: int) -> int:
        """Take baud and format from its next start on. `number`: see `Order` of a model."""
        bus = self.model.bus
        if number >= len(bus.bauds) * len(bus.formats):
            return self._refuse(ILLEGAL_VALUE, "no setting with this number")
        self._new_port = NewPort(bus.bauds[number // len(bus.formats)], bus.formats[number % len(bus.formats)])
        if bus.id_kept == "at-once":
            self._kept_port = self._new_port
        self.actions.append(Did(f"will run at {self._new_port.baud} Bd {self._new_port.format} after its next start"))
        return 0

    def _become(self, bus_id: int) -> None:
        if bus_id != self.bus_id:
            self.bus_id = bus_id
            self.read_out("bus_id", bus_id)
            self.actions.append(NewId(bus_id))

    def factory_default(self, at: int) -> int:
        """Restore factory values, saved values and presets too; motors keep their position."""
        before = dict(self.values)
        for one in self.model.parameters:
            if one.writable and one.name not in self.table.motors:
                self.values[one.name] = one.default
                self._touched.append(one.name)
        self.lamp_until = 0
        self.presets = {}
        self._saved = self._worth_saving()
        self._tell(before, at)
        self.actions.append(Did("takes its factory defaults"))
        bus = self.model.bus
        if bus.default_resets_port:
            self._new_port = self._kept_port = NewPort(bus.factory_baud, bus.factory_format)
            self.actions.append(Did(f"will run at {bus.factory_baud} Bd {bus.factory_format} after its next start"))
        return self.change_id(bus.factory_id) if bus.default_resets_id else 0

    def cut(self, at: int) -> None:
        """The power fails: motors stop at their position."""
        self.actions = [Did("is without power")]
        for name in list(self.motions):
            self.stop(name, at)

    def wake_up(self, at: int) -> None:
        """It has booted: saved values are back, others are gone."""
        before = dict(self.values)
        self.actions = [Did("has booted")]
        self.lamp_until = 0
        self._started = at
        for one in self.model.parameters:
            if one.writable and one.name not in self.table.motors:
                self.values[one.name] = self._saved.get(one.name, one.default)
                self._touched.append(one.name)
        for name in self.table.limits:
            low, high = self.table.bounds(name, self.values)
            self.values[name] = min(max(self.values[name], low), high)
        self.read_out("requests", 0)
        self._tell(before, at)
        self._new_id = self._kept_id
        self._become(self._kept_id)
        self._new_port = self._kept_port
        if self._kept_port is not None:
            self.actions.append(self._kept_port)

    def uptime(self, at: int) -> None:
        """Update its clocks: whole seconds since boot."""
        for name in self.table.clocks:
            self.values[name] = min((at - self._started) // 10**9, self.table.parameters[name].high)

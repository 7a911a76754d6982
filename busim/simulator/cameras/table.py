"""The parts of a model that a camera looks up at every request, worked out once."""

from __future__ import annotations

from typing import Final

from busim.plan.models import Control, Limit, Lock, Model

_IDENTIFY: Final = "identify"


class Table:
    """A model by name of parameter.

    `plain`: parameters that can be written and affect nothing else. `lamp`: the switch that makes a camera identify
    itself, "" for none. `recalled`: the parameters of a preset in the order of setting: first those that lock or limit
    others.
    """

    def __init__(self, model: Model) -> None:
        self.parameters = {parameter.name: parameter for parameter in model.parameters}
        self.motors = {motor.moves: motor for motor in model.motors}
        self.controls: dict[str, Control] = {control.name: control for control in model.controls}
        self.limits: dict[str, tuple[Limit, ...]] = {}
        self.limiting: dict[str, tuple[Limit, ...]] = {}
        for limit in model.limits:
            self.limits[limit.limits] = (*self.limits.get(limit.limits, ()), limit)
            self.limiting[limit.by] = (*self.limiting.get(limit.by, ()), limit)
        self.locks: dict[str, tuple[Lock, ...]] = {
            name: tuple(lock for lock in model.locks if name in lock.locks) for name in self.parameters
        }
        lamps = [one.name for one in model.parameters if one.meaning == _IDENTIFY and one.kind == "switch"]
        self.lamp = lamps[0] if lamps else ""
        special = {*self.motors, *self.controls, *self.limits, *self.limiting, *(lock.when for lock in model.locks)}
        self.plain = frozenset(
            one.name for one in model.parameters if one.writable and one.name not in special and one.name != self.lamp
        )
        first = {*self.limiting, *(lock.when for lock in model.locks)}
        self.recalled = tuple(sorted(model.presets.holds, key=lambda name: name not in first))
        self.clocks = frozenset(one.name for one in model.parameters if one.meaning == "uptime" and not one.writable)

    def bounds(self, name: str, values: dict[str, int]) -> tuple[int, int]:
        """The lowest and highest count of a parameter in the present state."""
        parameter = self.parameters[name]
        low, high = parameter.low, parameter.high
        for limit in self.limits.get(name, ()):
            count = values[limit.by]
            low, high = max(low, limit.floor(count)), min(high, limit.ceiling(count))
        return low, high

    def out_of_reach(self, name: str) -> str:
        """Why a count is out of bounds: the limits that hold, if there are any."""
        return "; ".join(limit.reason for limit in self.limits.get(name, ())) or "beyond its range"

"""A camera without a line: tests address its parameters by name, at instants in seconds."""

from __future__ import annotations

from busim.plan.models import Model, load
from busim.protocols import (
    CHANGE_ID,
    IDENTIFY,
    PRESET,
    READ,
    SAVE,
    START,
    STEP,
    STOP,
    WRITE,
    Reply,
    Request,
)
from busim.simulator.cameras import Action, Camera

SECOND = 10**9


class Held:
    """One camera of a shipped model, or of `model`. Requests are served in the order in which they are made."""

    def __init__(
        self, name: str = "", *, model: Model | None = None, bus_id: int = 5, protocol: str = "modbus-rtu"
    ) -> None:
        self.model = model or load(name)
        self.camera = Camera(self.model, protocol, bus_id, 4711)
        self._keys = {**self.model.keys[protocol], **self.model.order_keys[protocol]}
        self.now = 0

    def at(self, seconds: float) -> Held:
        """Move to this instant; the camera gets the wake-ups that it asked for."""
        self.now = round(seconds * SECOND)
        self.camera.woken(self.now)
        return self

    def ask(self, verb: str, name: str = "", *values: int, size: int = -1) -> Reply:
        key = self._keys[name] if name else 0
        size = len(values) if size < 0 else size
        return self.camera.serve(Request(self.camera.bus_id, verb, key, size, values), self.now)

    def read(self, name: str) -> int:
        (value,) = self.ask(READ, name, size=1).values
        return value

    def write(self, name: str, *values: int) -> int:
        """0, or the code of the refusal."""
        return self.ask(WRITE, name, *values).refused

    def step(self, name: str, steps: int) -> int:
        return self.ask(STEP, name, steps).refused

    def start(self, name: str, percent: int) -> int:
        return self.ask(START, name, percent).refused

    def stop(self, name: str) -> int:
        return self.ask(STOP, name).refused

    def save(self) -> int:
        return self.ask(SAVE).refused

    def recall(self, number: int) -> int:
        return self.ask(PRESET, "", number).refused

    def identify(self) -> Reply:
        return self.ask(IDENTIFY)

    def change_id(self, bus_id: int) -> int:
        return self.ask(CHANGE_ID, "", bus_id).refused

    def power_cycle(self) -> None:
        """Switch its power off and on; it boots."""
        self.camera.cut(self.now)
        self.now += self.model.timing.boot
        self.camera.booted(self.now)

    @property
    def actions(self) -> list[Action]:
        return self.camera.actions

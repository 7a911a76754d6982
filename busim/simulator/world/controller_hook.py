"""The hook of a world: intents go out to its listener, beliefs come in, and the trace gets both.

It knows the cameras, so it compares each belief with the camera at once. The record holds the result, and figures need
no second memory. It follows changes of cameras where records are emitted, so a world without a hook pays nothing.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from busim.plan.models import Model
from busim.protocols.hook import Belief, Intent
from busim.recording.trace import BELIEF, CHANGE, INTENT, Emit, Record
from busim.simulator.kernel import Kernel
from busim.simulator.world.camera_ports import CameraPort

_MOST_UNTOLD: Final = 4096  # intents kept while nobody listens, the latest
_REMEMBERED: Final = 64  # earlier values kept of each control, the latest
_MOST_WRONG: Final = 50  # lines that were no beliefs kept so far; further ones are counted
NEVER: Final = -1
NOT_JUDGED: Final = -2


@dataclass(slots=True)
class _Control:
    """A control of one camera: its value now, and until when (ns) it had the earlier ones."""

    value: str
    until: dict[str, int] = field(default_factory=dict)

    def change(self, value: str, at: int) -> None:
        self.until.pop(self.value, None)
        self.until[self.value] = at
        self.until.pop(value, None)
        self.value = value
        if len(self.until) > _REMEMBERED:
            del self.until[next(iter(self.until))]


class Hook:
    """`told`: called with each intent at its instant; `untold`: those made before anybody listened. `known`: parameters
    by name of the camera.

    `wrong`: why lines of the controller were no beliefs, the first fifty of `wrong_count`.
    """

    def __init__(self, kernel: Kernel, emit: Emit) -> None:
        self._kernel = kernel
        self._emit = emit
        self._numbers: dict[str, tuple[int, int]] = {}  # camera -> line and camera in records
        self._controls: dict[tuple[int, str], _Control] = {}
        self._ports: dict[str, CameraPort] = {}
        self.told: list[Callable[[Intent], None]] = []
        self.untold: deque[Intent] = deque(maxlen=_MOST_UNTOLD)
        self.known: dict[str, frozenset[str]] = {}
        self.wrong: list[str] = []
        self.wrong_count = 0

    def add(self, line: int, number: int, name: str, model: Model, port: CameraPort | None) -> None:
        """Add a camera of the plan, with its numbers in records; without a port it is absent."""
        self._numbers[name] = line, number
        self.known[name] = frozenset(parameter.name for parameter in model.parameters)
        if port is not None:
            self._ports[name] = port
            for parameter in model.parameters:
                if parameter.writable:
                    self._controls[number, parameter.name] = _Control(str(port.camera.values[parameter.name]))

    def listen(self, emit: Emit) -> Emit:
        """Emits a record of a camera and reads it on the way."""
        controls = self._controls

        def listening(record: Record) -> None:
            if record[0] == CHANGE:
                _, at, who, parameter, value = record
                control = controls.get((who, parameter))
                if control is not None:
                    control.change(value, at)
            emit(record)

        return listening

    def intend(self, camera: str, parameter: str, value: int, panel: str = "", *, step: bool = False) -> None:
        """A move, now: to a value, or (`step`) by a number of steps. The names must be known."""
        line, number = self._numbers[camera]
        port = self._ports.get(camera)
        had = "" if port is None else str(port.camera.values[parameter])
        now = self._kernel.now
        self._emit((INTENT, line, number, now, parameter, f"step {value:+d}" if step else str(value), panel, had))
        intent = Intent(now, camera, parameter, value, panel, step)
        if not self.told:
            self.untold.append(intent)
        for tell in self.told:
            tell(intent)

    def believe(self, belief: Belief) -> None:
        """A belief about known names arrives now."""
        kind, camera, parameter, number, text = belief
        line, row = self._numbers.get(camera, (0, 0))
        value = str(number) if kind == "value" else ""
        behind = self._behind(camera, row, parameter, value) if kind == "value" else 0
        self._emit((BELIEF, line, row, self._kernel.now, kind, parameter, value, text, behind))

    def refuse(self, why: str) -> None:
        """A line that was no belief."""
        self.wrong_count += 1
        if len(self.wrong) < _MOST_WRONG:
            self.wrong.append(why)
        self._emit((BELIEF, 0, 0, self._kernel.now, "wrong", "", "", why, 0))

    def _behind(self, camera: str, number: int, parameter: str, value: str) -> int:
        port = self._ports.get(camera)
        if port is None:
            return NEVER
        control = self._controls.get((number, parameter))
        if control is None:
            return NOT_JUDGED
        if control.value == value:
            return 0
        until = control.until.get(value)
        return NEVER if until is None else max(1, self._kernel.now - until)

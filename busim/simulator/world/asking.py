"""From a plan's masters to their tasks: which registers to read, and how long to wait for an answer."""

from __future__ import annotations

from dataclasses import dataclass

from busim.foundation.units import Spread
from busim.physics.exchange import drain, runs, time_out
from busim.plan import CameraPlan, ConverterPlan, LinePlan, MasterPlan
from busim.plan.models import Model
from busim.protocols import READ, STEP, WRITE, BusProtocol, Request
from busim.simulator.bus import Setting, setting
from busim.simulator.masters import COMMAND, POLL, Target, Task


@dataclass(frozen=True, slots=True)
class Way:
    """What lies between a master and its cameras besides the wire: ns of packing and of latency each way."""

    setting: Setting
    packing: int = 0
    latency: int = 0

    def time_out(self, protocol: BusProtocol, request: Request, turnaround: int) -> int:
        """ns: wire time, silence, the slowest `turnaround` (ns), packing and latency both ways, and a margin."""
        wire = self.setting.offset(sum(protocol.lengths(request)) * self.setting.halves)
        silence = protocol.silence(float(self.setting.baud))
        return time_out(wire, silence, turnaround, self.packing, self.latency)


def way_through(converter: ConverterPlan, line: LinePlan) -> Way:
    """The way of who asks through a converter."""
    driver = converter.driver
    port = setting(driver.baud or line.baud, driver.format or line.format)
    return Way(port, converter.packing_idle, converter.latency.high)


class Asking:
    """Makes the tasks of one master on one line."""

    def __init__(self, plan: MasterPlan, protocol: BusProtocol, way: Way) -> None:
        self._plan = plan
        self._protocol = protocol
        self._way = way

    def polls(self, camera: CameraPlan, model: Model, target: Target) -> list[Task]:
        """One task for each run of neighbouring registers in each group, for the values the model has."""
        keys, words = model.keys[self._protocol.name], model.words
        tasks = []
        for group in self._plan.groups:
            wanted = (keys[name] for value in group.values if (name := words.get(value, value)) in keys)
            for number, (first, count) in enumerate(runs(wanted, self._protocol.most_values)):
                # What brings other values is another poll: each value is read once in a round, not in each exchange.
                work = f"{group.name} from {first}" if number else group.name
                request = Request(camera.id, READ, first, count)
                task = self._task(target, POLL, work, request, camera.turnaround)
                task.every = group.every
                tasks.append(task)
        return tasks

    def move(self, camera: CameraPlan, model: Model, target: Target, control: str, value: int) -> Task:
        """An operator's move of one control to a value."""
        request = Request(camera.id, WRITE, model.keys[self._protocol.name][model.called(control)], 1, (value,))
        task = self._task(target, COMMAND, control, request, camera.turnaround)
        task.tries = 1 + self._plan.retries
        return task

    def step(self, camera: CameraPlan, model: Model, target: Target, control: str, steps: int) -> Task:
        """An operator's move of one control by so many steps. Raises Defect where the protocol has no such message."""
        request = Request(camera.id, STEP, model.keys[self._protocol.name][model.called(control)], 1, (steps,))
        task = self._task(target, COMMAND, control, request, camera.turnaround)
        task.tries = 1 + self._plan.retries
        task.relative = True
        return task

    def _task(self, target: Target, kind: str, work: str, request: Request, turnaround: Spread) -> Task:
        raw = self._protocol.encode_request(request)
        time_out = self._plan.time_out or self._way.time_out(self._protocol, request, turnaround.high)
        return Task(target, kind, work, request, raw, time_out)

    def gap(self) -> int:
        """ns between a reply and the next request."""
        return max(self._plan.gap, self._protocol.silence(float(self._way.setting.baud)))

    def drain(self) -> int:
        """ns of quiet after a failure before it asks again."""
        return drain(self.gap(), self._way.packing, self._way.latency)

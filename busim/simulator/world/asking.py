"""From requests of a master to its tasks: each request encoded, with its time-out."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass

from busim.foundation.errors import Defect
from busim.foundation.units import Spread
from busim.installation import Asker, ResolvedCamera, ResolvedConverter
from busim.physics.exchange import time_out
from busim.protocols import READ, STEP, WRITE, BusProtocol, Request
from busim.simulator.bus import Setting, setting
from busim.simulator.masters import COMMAND, POLL, PROBE, Target, Task


@dataclass(frozen=True, slots=True)
class Way:
    """The path between a master and its cameras besides the wire: ns of packing and of latency each way."""

    setting: Setting
    packing: int = 0
    latency: int = 0

    def time_out(self, protocol: BusProtocol, request: Request, turnaround: int) -> int:
        """ns: wire time, silence, the slowest `turnaround` (ns), packing and latency both ways, and a margin."""
        wire = self.setting.offset(sum(protocol.lengths(request)) * self.setting.halves)
        silence = protocol.silence(float(self.setting.baud))
        return time_out(wire, silence, turnaround, self.packing, self.latency)


def way_through(converter: ResolvedConverter) -> Way:
    """The path of a client of a converter on a line."""
    assert converter.port is not None
    plan = converter.converter
    return Way(setting(converter.port.baud, converter.port.format), plan.packing_idle, plan.latency.high)


class Asking:
    """Makes the tasks of one master on one line. `targets`: its cameras by name."""

    def __init__(self, asker: Asker, protocol: BusProtocol, way: Way) -> None:
        self._asker = asker
        self._protocol = protocol
        self._way = way
        self._targets = {one.name: Target(one.name, one.camera.bus_id) for one in asker.cameras}

    def polls(self) -> list[Task]:
        """Its polls, camera by camera; a camera without polls gets a probe."""
        tasks = []
        for poll in self._asker.polls:
            task = self._task(poll.camera.name, POLL, poll.run.work, poll.request, poll.camera.camera.turnaround)
            task.every = poll.run.every
            tasks.append(task)
        polled = {task.target for task in tasks}
        for camera in self._asker.cameras:
            target = self._targets[camera.name]
            target.probe = None if target in polled else self._probe(camera)
        return tasks

    def _probe(self, camera: ResolvedCamera) -> Task | None:
        """A read of one value that tests whether a camera without polls is back; None: the protocol has none."""
        keys = camera.model.keys[self._protocol.name]
        for key in (keys[one.name] for one in camera.model.parameters if one.name in keys):
            with suppress(Defect):  # no message of the protocol reads this one
                request = Request(camera.camera.bus_id, READ, key, 1)
                return self._task(camera.name, PROBE, "probe", request, camera.camera.turnaround)
        return None

    def move(self, camera: ResolvedCamera, control: str, value: int) -> Task:
        """An operator's move of one control to a value."""
        return self._command(camera, control, WRITE, value)

    def step(self, camera: ResolvedCamera, control: str, steps: int) -> Task:
        """An operator's move of one control by a number of steps. Raises Defect if the protocol has no such message."""
        task = self._command(camera, control, STEP, steps)
        task.relative = True
        return task

    def _command(self, camera: ResolvedCamera, control: str, verb: str, value: int) -> Task:
        request = camera.speaks.command(camera.camera.bus_id, control, verb, value)
        task = self._task(camera.name, COMMAND, control, request, camera.camera.turnaround)
        task.tries = 1 + self._asker.master.retries
        return task

    def _task(self, camera: str, kind: str, work: str, request: Request, turnaround: Spread) -> Task:
        raw = self._protocol.encode_request(request)
        time_out = self._asker.master.time_out or self._way.time_out(self._protocol, request, turnaround.high)
        return Task(self._targets[camera], kind, work, request, raw, time_out)

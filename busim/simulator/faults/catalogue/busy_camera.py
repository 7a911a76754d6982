"""A camera is deaf for a while after a write."""

from __future__ import annotations

from busim.protocols import READ, Request
from busim.simulator.fault_hooks import CameraRequest, Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, time


class _Busy:
    inner: CameraRequest

    def __init__(self, bench: CameraBench, values: Values) -> None:
        self._bench = bench
        self._values = values
        self._until = -1

    def __call__(self, request: Request, at: int, /) -> None:
        if at < self._until:
            self._bench.effect(f"{request.verb} of {request.key} is not heard")
            return
        if request.verb != READ and self._bench.happens(self._values["share"]):
            self._until = at + self._values["least"] + self._bench.stream.between(0, self._values["spread"])
        self.inner(request, at)


def _put(bench: CameraBench, values: Values) -> Remove:
    return bench.request.cover(_Busy(bench, values))


FAULT = Fault(
    name="busy-camera",
    code="B5",
    title="A camera is deaf while it writes",
    on="camera",
    hook="camera request",
    wire="The camera answers a write and then hears nothing for a while.",
    seen="A time-out just after a successful write; a second command is lost.",
    parameters=(
        time("least", "shortest deaf time", "20 ms", "1 ms", "10 s"),
        time("spread", "largest addition to it, drawn each time", "80 ms", "0", "10 s"),
        share("share of the writes after which it is deaf"),
    ),
    put=_put,
)

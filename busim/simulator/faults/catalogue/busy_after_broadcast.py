"""A camera is deaf for a while after a broadcast."""

from __future__ import annotations

from busim.protocols import Request
from busim.simulator.fault_hooks import CameraRequest, Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, time


class _Busy:
    inner: CameraRequest

    def __init__(self, bench: CameraBench, values: Values) -> None:
        self._bench = bench
        self._length = values["length"]
        self._until = -1

    def __call__(self, request: Request, at: int, /) -> None:
        if at < self._until:
            self._bench.effect(f"{request.verb} of {request.key} is not heard")
            return
        if request.address == self._bench.protocol.broadcast:
            self._until = at + self._length
        self.inner(request, at)


def _put(bench: CameraBench, values: Values) -> Remove:
    return bench.request.cover(_Busy(bench, values))


FAULT = Fault(
    name="busy-after-broadcast",
    code="M12",
    title="A camera is busy after a broadcast",
    on="camera",
    hook="camera request",
    wire="After a request to all the camera hears nothing for a while.",
    seen="The first request after a broadcast is not answered, unless the master pauses.",
    parameters=(time("length", "how long it is busy", "100 ms", "5 ms", "500 ms"),),
    put=_put,
    source="MODBUS over Serial Line V1.02, 2.4.1, for a turnaround delay of 100 to 200 ms after a broadcast",
)

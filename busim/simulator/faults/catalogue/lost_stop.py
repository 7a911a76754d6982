"""A stop of a moving head is lost, and it goes on."""

from __future__ import annotations

from busim.protocols import START, STOP, WRITE, Request
from busim.simulator.fault_hooks import CameraRequest, Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share


class _Lossy:
    inner: CameraRequest

    def __init__(self, bench: CameraBench, values: Values) -> None:
        self._bench = bench
        self._values = values

    def __call__(self, request: Request, at: int, /) -> None:
        stops = request.verb == STOP or (request.verb in (START, WRITE) and not any(request.values))
        if stops and request.values is not None and self._bench.happens(self._values["share"]):
            self._bench.effect(f"{request.verb} of {request.key}")
            return
        self.inner(request, at)


def _put(bench: CameraBench, values: Values) -> Remove:
    return bench.request.cover(_Lossy(bench, values))


FAULT = Fault(
    name="lost-stop",
    code="M14",
    title="A stop is lost",
    on="camera",
    hook="camera request",
    wire="A request to stop (or to set a speed or a value to 0) is not carried out and not answered, as after "
    "a collision.",
    seen="A time-out of a stop; the motor goes on. Caution: heads move near people, so the master must repeat a stop.",
    parameters=(share("share of the stops that are lost"),),
    put=_put,
)

"""A camera answers requests to others."""

from __future__ import annotations

from busim.protocols import Request
from busim.simulator.fault_hooks import CameraRequest, Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share


class _Eager:
    inner: CameraRequest

    def __init__(self, bench: CameraBench, values: Values) -> None:
        self._bench = bench
        self._values = values

    def __call__(self, request: Request, at: int, /) -> None:
        if request.address in (self._bench.bus_id, self._bench.protocol.broadcast):
            self.inner(request, at)
        elif self._bench.happens(self._values["share"]):
            self._bench.effect(f"a request for ID {request.address}")
            self.inner(request, at)


def _put(bench: CameraBench, values: Values) -> Remove:
    low, high = bench.protocol.addresses
    bench.listen_to(tuple(range(low, high + 1)))
    uncover = bench.request.cover(_Eager(bench, values))

    def remove() -> None:
        bench.listen_to(None)
        uncover()

    return remove


FAULT = Fault(
    name="answers-any-id",
    code="B3",
    title="A camera answers for others",
    on="camera",
    hook="camera request",
    wire="It carries out requests to other bus IDs and answers under those IDs, beside the addressed camera.",
    seen="Two replies at once or in a row; answers from IDs that no camera has.",
    parameters=(share("share of the requests for others that it answers"),),
    put=_put,
)

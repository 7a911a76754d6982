"""A camera has the bus ID of another one."""

from __future__ import annotations

from busim.protocols import Request
from busim.simulator.fault_hooks import CameraRequest, Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Parameter, Values


class _Twin:
    inner: CameraRequest

    def __init__(self, bench: CameraBench) -> None:
        self._bench = bench

    def __call__(self, request: Request, at: int, /) -> None:
        self._bench.effect(f"a request for ID {request.address}")
        self.inner(request, at)


def _put(bench: CameraBench, values: Values) -> Remove:
    bench.listen_to((bench.id_of(values["of"]),))
    uncover = bench.request.cover(_Twin(bench))

    def remove() -> None:
        bench.listen_to(None)
        uncover()

    return remove


FAULT = Fault(
    name="duplicate-id",
    code="B2",
    title="Two cameras with one bus ID",
    on="camera",
    hook="camera request",
    wire="Two drivers answer the same request. Equal replies within half a bit decode cleanly. Others garble each "
    "other, or follow one another if the turnarounds differ by more than a reply.",
    seen="Errors on one ID only, alternating values, or no symptom at all; and a command moves two cameras.",
    parameters=(
        Parameter("of", "name", "camera on the same line whose ID it takes; by default the next one by ID", ""),
    ),
    put=_put,
    also=("M13",),
)

"""The first exchange after a long silence fails."""

from __future__ import annotations

from busim.protocols import Request
from busim.simulator.fault_hooks import CameraRequest, Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, time


class _Sleepy:
    inner: CameraRequest

    def __init__(self, bench: CameraBench, values: Values) -> None:
        self._bench = bench
        self._values = values
        self._last = -(10**18)

    def __call__(self, request: Request, at: int, /) -> None:
        slept = at - self._last >= self._values["idle"]
        self._last = at
        if slept and self._bench.happens(self._values["share"]):
            self._bench.effect(f"{request.verb} of {request.key} after a silence")
            return
        self.inner(request, at)


def _put(bench: CameraBench, values: Values) -> Remove:
    return bench.request.cover(_Sleepy(bench, values))


FAULT = Fault(
    name="first-reply-fails",
    code="B14",
    title="The first exchange after idling fails",
    on="camera",
    hook="camera request",
    wire="A request that comes after a long silence is not answered; the next one is.",
    seen="Only the first request of each cycle times out.",
    parameters=(
        time("idle", "silence after which it sleeps", "1 s", "1 ms", "600 s"),
        share(),
    ),
    put=_put,
)

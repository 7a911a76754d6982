"""A camera has no power for a while."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values


def _put(bench: CameraBench, _: Values) -> Remove:
    bench.effect()
    bench.power(False)
    return lambda: bench.power(True)


FAULT = Fault(
    name="dead-camera",
    code="M2",
    title="A camera is dead",
    on="camera",
    hook="supply",
    wire="Requests to one camera get no answer; it boots when the fault ends.",
    seen="Time-outs of one ID. A master that waits for all of its retries slows every other camera down.",
    parameters=(),
    put=_put,
    also=("M10",),
)

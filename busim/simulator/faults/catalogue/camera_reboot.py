"""A camera boots by itself."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values


def _put(bench: CameraBench, _: Values) -> Remove:
    bench.effect()
    bench.restart()
    return lambda: None


FAULT = Fault(
    name="camera-reboot",
    code="B6",
    title="A camera reboots",
    on="camera",
    hook="supply",
    wire="The reply under way is lost; the camera is silent for as long as its model boots, and what was not "
    "saved is gone.",
    seen="A burst of time-outs of one camera, then a camera with its saved values.",
    parameters=(),
    put=_put,
)

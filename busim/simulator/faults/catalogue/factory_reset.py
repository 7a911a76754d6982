"""A camera falls back to its factory state."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values


def _put(bench: CameraBench, _: Values) -> Remove:
    bench.effect()
    bench.factory_reset()
    return lambda: None


FAULT = Fault(
    name="factory-reset",
    code="B15",
    title="A camera loses its configuration",
    on="camera",
    hook="camera state",
    wire="The camera boots and answers to its factory bus ID, where it may meet another one.",
    seen="One ID is gone; the factory ID answers, or its replies become damaged.",
    parameters=(),
    put=_put,
)

"""A save is acknowledged and keeps nothing."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values


def _put(bench: CameraBench, _: Values) -> Remove:
    bench.forget_saves(bench.effect)
    return lambda: bench.forget_saves(None)


FAULT = Fault(
    name="discards-saves",
    code="B4",
    title="A save is acknowledged and lost",
    on="camera",
    hook="save",
    wire="The camera answers a save as always; after a power cycle it has the values and the bus ID from before.",
    seen="Nothing, until a power cut.",
    parameters=(),
    put=_put,
)

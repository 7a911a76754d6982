"""A camera comes and goes."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, time
from busim.simulator.faults.recurring import evenly


def _put(bench: CameraBench, values: Values) -> Remove:
    on = [True]

    def strike() -> None:
        on[0] = not on[0]
        bench.power(on[0])
        if not on[0]:
            bench.effect()

    stop = evenly(bench, values["period"], strike)

    def remove() -> None:
        stop()
        bench.power(True)

    return remove


FAULT = Fault(
    name="flapping-camera",
    code="P9",
    title="A camera browns out again and again",
    on="camera",
    hook="supply",
    wire="The supply at the end of a chain sags: the camera loses its power, boots, and loses it again.",
    seen="The same camera drops out and comes back with what it had saved.",
    parameters=(time("period", "time between changes", "5 s", "100 ms", "60 s"),),
    put=_put,
    also=("M2",),
)

"""The two wires are swapped at one camera."""

from __future__ import annotations

from busim.simulator.bus import Setting, setting
from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values
from busim.simulator.faults.settings import retuned


def _put(bench: CameraBench, _: Values) -> Remove:
    def change(own: Setting) -> Setting:
        return setting(own.baud, own.format, own.ppm, not own.inverted)

    return retuned(bench, change)


FAULT = Fault(
    name="swapped-pair",
    code="P5",
    title="A swapped pair",
    on="camera",
    hook="receiver",
    wire="The camera hears and drives all levels inverted; to it an idle line is a break, and what it sends is "
    "no frame.",
    seen="Silence of one camera, or garbage instead of its replies.",
    parameters=(),
    put=_put,
)

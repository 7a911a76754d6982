"""The clock of a camera is fast or slow."""

from __future__ import annotations

from busim.simulator.bus import Setting, setting
from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Parameter, Values
from busim.simulator.faults.settings import retuned


def _put(bench: CameraBench, values: Values) -> Remove:
    def change(own: Setting) -> Setting:
        return setting(own.baud, own.format, own.ppm + values["ppm"], own.inverted)

    return retuned(bench, change)


FAULT = Fault(
    name="clock-error",
    code="P11",
    title="A camera's clock is off",
    on="camera",
    hook="receiver",
    wire="Late bits of each character are sampled wrong; only some byte values break.",
    seen="Checksum errors of one camera that depend on the data.",
    parameters=(Parameter("ppm", "number", "clock error, ppm; positive: fast", "50000", "-60000", "60000"),),
    put=_put,
)

"""A camera has another baud rate."""

from __future__ import annotations

from fractions import Fraction

from busim.simulator.bus import Setting, setting
from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count
from busim.simulator.faults.settings import retuned


def _put(bench: CameraBench, values: Values) -> Remove:
    def change(own: Setting) -> Setting:
        return setting(Fraction(values["baud"]), own.format, own.ppm, own.inverted)

    return retuned(bench, change)


FAULT = Fault(
    name="wrong-baud",
    code="L1",
    title="A camera at the wrong baud",
    on="camera",
    hook="receiver",
    wire="Both sides sample the other's bits at the wrong instants: characters merge, split and have framing errors.",
    seen="Silence of one camera; it may also disturb others if it reads noise as a request.",
    parameters=(count("baud", "the wrong baud, Bd", "9600", "50", "10000000"),),
    put=_put,
)

"""A camera has another character format."""

from __future__ import annotations

from busim.foundation.units import CharFormat
from busim.simulator.bus import Setting, setting
from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, word
from busim.simulator.faults.settings import retuned


def _put(bench: CameraBench, values: Values) -> Remove:
    def change(own: Setting) -> Setting:
        return setting(own.baud, CharFormat.parse(values["format"]), own.ppm, own.inverted)

    return retuned(bench, change)


FAULT = Fault(
    name="wrong-format",
    code="L2",
    title="A camera with the wrong format",
    on="camera",
    hook="receiver",
    wire="Parity and stop bits do not match: values are right and flagged, or characters merge.",
    seen="Framing or parity errors from one camera, or its silence.",
    parameters=(word("format", "the wrong format", "8N1", "8E1", "8O1", "8N2", "7E1", "7O1"),),
    put=_put,
)

"""The driver takes the line after the first start bit."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.edges import cover_reply_edges, enabled_late
from busim.simulator.faults.parameters import Values, share, time


def _put(bench: CameraBench, values: Values) -> Remove:
    return cover_reply_edges(bench, values, enabled_late)


FAULT = Fault(
    name="driver-enabled-late",
    code="D2",
    title="The driver is enabled too late",
    on="camera",
    hook="driver edge",
    wire="The first bits of the first character are missing; a receiver may begin at a later edge.",
    seen="The first byte of a reply is wrong or missing, and a parser that hunts for its header fails.",
    parameters=(
        time("by", "delay of the edge", "50 us", "1 us", "1500 us"),
        time("jitter", "largest addition to it, drawn for each frame", "0", "0", "10 ms"),
        share("share of the frames"),
    ),
    put=_put,
)

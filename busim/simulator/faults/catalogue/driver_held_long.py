"""The driver stays on after the last character."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.edges import cover_reply_edges, held_long
from busim.simulator.faults.parameters import Values, share, time


def _put(bench: CameraBench, values: Values) -> Remove:
    return cover_reply_edges(bench, values, held_long)


FAULT = Fault(
    name="driver-held-long",
    code="D3",
    title="The driver is held too long",
    on="camera",
    hook="driver edge",
    wire="The camera drives mark after its reply; whoever sends meanwhile fights it, and the head of that "
    "frame is destroyed.",
    seen="The next request is not understood when it comes soon.",
    parameters=(
        time("by", "delay of the release", "5 ms", "1 us", "12 ms"),
        time("jitter", "largest addition to it, drawn for each frame", "0", "0", "10 ms"),
        share("share of the frames"),
    ),
    put=_put,
)

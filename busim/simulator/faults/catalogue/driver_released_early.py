"""The driver lets go before the last character is over."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.edges import cover_reply_edges, released_early
from busim.simulator.faults.parameters import Values, share, time


def _put(bench: CameraBench, values: Values) -> Remove:
    return cover_reply_edges(bench, values, released_early)


FAULT = Fault(
    name="driver-released-early",
    code="D1",
    title="The driver is released too early",
    on="camera",
    hook="driver edge",
    wire="The last bits of the last character are cut; without a driver the pair reads as idle, so they become ones.",
    seen="The last byte is wrong or has a framing error; the checksum fails.",
    parameters=(
        time("by", "time before the end of the last character", "200 us", "1 us", "2 ms"),
        time("jitter", "largest addition to it, drawn for each frame", "0", "0", "10 ms"),
        share("share of the frames"),
    ),
    put=_put,
)

"""The converter's driver stays on behind a request."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.edges import cover_request_edges, held_long
from busim.simulator.faults.parameters import Values, share, time


def _put(bench: ConverterBench, values: Values) -> Remove:
    return cover_request_edges(bench, values, held_long)


FAULT = Fault(
    name="request-driver-held",
    code="D3",
    title="The driver is held behind a request",
    on="converter",
    hook="driver edge",
    wire="The converter drives mark after its request while the camera already answers, and destroys the reply's head.",
    seen="Replies of quick cameras are damaged at their begin; slow cameras answer well.",
    parameters=(
        time("by", "by how much", "5 ms", "1 us", "12 ms"),
        time("jitter", "up to so much more, drawn for each frame", "0", "0", "10 ms"),
        share("share of the frames"),
    ),
    put=_put,
)

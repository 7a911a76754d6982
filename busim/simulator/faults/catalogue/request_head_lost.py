"""The converter's driver takes the line after a request has begun."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.edges import cover_request_edges, enabled_late
from busim.simulator.faults.parameters import Values, share, time


def _put(bench: ConverterBench, values: Values) -> Remove:
    return cover_request_edges(bench, values, enabled_late)


FAULT = Fault(
    name="request-head-lost",
    code="D2",
    title="The head of a request is lost",
    on="converter",
    hook="driver edge",
    wire="The converter enables its driver inside the first character of a request; a camera may begin later.",
    seen="Cameras do not answer; after a longer preamble, or a header that can be hunted for, some do.",
    parameters=(
        time("by", "by how much", "50 us", "1 us", "1500 us"),
        time("jitter", "up to so much more, drawn for each frame", "0", "0", "10 ms"),
        share("share of the frames"),
    ),
    put=_put,
)

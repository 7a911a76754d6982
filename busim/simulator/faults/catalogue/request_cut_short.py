"""The converter's driver lets go before a request is over."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.edges import cover_request_edges, released_early
from busim.simulator.faults.parameters import Values, share, time


def _put(bench: ConverterBench, values: Values) -> Remove:
    return cover_request_edges(bench, values, released_early)


FAULT = Fault(
    name="request-cut-short",
    code="D1",
    title="A request is cut short",
    on="converter",
    hook="driver edge",
    wire="The converter releases its driver inside the last character of a request; the missing bits read as ones.",
    seen="Cameras do not answer, for the checksum of the request is wrong; a listener sees a request of full length.",
    parameters=(
        time("by", "by how much", "200 us", "1 us", "2 ms"),
        time("jitter", "up to so much more, drawn for each frame", "0", "0", "10 ms"),
        share("share of the frames"),
    ),
    put=_put,
)

"""A converter accepts clients and serves none of them."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.admissions import serve_nobody_new
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values


def _put(bench: ConverterBench, _: Values) -> Remove:
    return serve_nobody_new(bench, connected=True)


FAULT = Fault(
    name="ignored-clients",
    code="C6",
    title="A stale session holds the port",
    on="converter",
    hook="link",
    wire="Nothing: bytes of a new client do not reach the line.",
    seen="A connection that opens and never answers.",
    parameters=(),
    put=_put,
    hides=("requests", "replies"),
)

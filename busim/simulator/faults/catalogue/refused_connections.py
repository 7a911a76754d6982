"""A converter refuses new clients."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.admissions import serve_nobody_new
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values


def _put(bench: ConverterBench, _: Values) -> Remove:
    return serve_nobody_new(bench, connected=False)


FAULT = Fault(
    name="refused-connections",
    code="C5",
    title="Connections are refused",
    on="converter",
    hook="link",
    wire="Nothing new: no further client reaches the line while it lasts.",
    seen="Refused connections while the fault lasts.",
    parameters=(),
    put=_put,
    hides=("requests", "replies"),
)

"""A converter restarts."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, time


def _put(bench: ConverterBench, values: Values) -> Remove:
    bench.effect()
    bench.restart(values["down"])
    return lambda: None


FAULT = Fault(
    name="converter-reboot",
    code="C16",
    title="A converter reboots",
    on="converter",
    hook="converter",
    wire="The line is silent while it is down; bytes under way are lost.",
    seen="Connections are reset, then refused, then accepted again.",
    parameters=(time("down", "length of its absence", "8 s", "100 ms", "60 s"),),
    put=_put,
    hides=("requests", "replies"),
)

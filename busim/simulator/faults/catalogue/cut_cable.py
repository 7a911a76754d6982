"""The cable is cut at one place."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import LineBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count


def _put(bench: LineBench, values: Values) -> Remove:
    position = min(values["position"], bench.positions)
    bench.cut(position)
    bench.effect(f"ahead of position {position}")
    return lambda: bench.join(position)


FAULT = Fault(
    name="cut-cable",
    code="P12",
    title="The cable is cut",
    on="line",
    hook="line",
    wire="The pair is open before a position: stations behind it neither hear nor are heard.",
    seen="All cameras behind one position fall silent at once.",
    parameters=(count("position", "position of the order before which it is cut, counted from 0", "3", "0", "300"),),
    put=_put,
)

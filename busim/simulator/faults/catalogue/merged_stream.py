"""Packets wait for the next one."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, time
from busim.simulator.faults.passages import cover_up


def _put(bench: ConverterBench, values: Values) -> Remove:
    def handle(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        late = bench.happens(values["share"])
        if late:
            bench.effect(f"{len(data)} bytes wait")
        pass_on(data, values["by"] if late else 0)

    return cover_up(bench, handle)


FAULT = Fault(
    name="merged-stream",
    code="C2",
    title="A packet waits for the next",
    on="converter",
    hook="converter to network",
    wire="The line is correct; some packets wait and leave together with later bytes.",
    seen="Two replies at once, or a reply after its time-out.",
    parameters=(
        time("by", "length of the wait", "50 ms", "1 ms", "5 s"),
        share("share of the packets", "0.1"),
    ),
    put=_put,
    hides=("replies", "late-replies"),
)

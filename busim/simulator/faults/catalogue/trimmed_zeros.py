"""A converter trims zeros at the end."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count
from busim.simulator.faults.passages import cover_up


def _put(bench: ConverterBench, values: Values) -> Remove:
    def handle(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        left = data.rstrip(b"\0") if not values["length"] or len(data) == values["length"] else data
        if left != data:
            bench.effect(f"{len(data) - len(left)} bytes")
        pass_on(left, 0)

    return cover_up(bench, handle)


FAULT = Fault(
    name="trimmed-zeros",
    code="C19",
    title="A converter trims zeros",
    on="converter",
    hook="converter to network",
    wire="The reply is complete on the line; zeros at the end of a packet do not reach the network.",
    seen="The last byte is missing, always with the same data.",
    parameters=(count("length", "only in packets of this length; 0: in all", "0", "0", "1460"),),
    put=_put,
    hides=("replies",),
)

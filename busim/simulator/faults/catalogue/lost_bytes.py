"""Bytes are lost in an overrun, or to a second reader."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count, share, word
from busim.simulator.faults.passages import cover_ways


def _put(bench: ConverterBench, values: Values) -> Remove:
    def handle(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        left = bytearray()
        skip = 0
        for one in data:
            if not skip and bench.happens(values["share"]):
                skip = values["in_a_row"]
                bench.effect()
            if skip:
                skip -= 1
            else:
                left.append(one)
        pass_on(bytes(left), 0)

    return cover_ways(bench, values["way"], handle)


FAULT = Fault(
    name="lost-bytes",
    code="L5",
    title="Bytes are lost in a receive overrun",
    on="converter",
    hook="converter",
    wire="The wire is perfect; bytes are lost behind it, some in a row.",
    seen="Short frames now and then.",
    parameters=(
        share("chance of each byte to start a row of lost bytes", "0.001"),
        count("in_a_row", "number of bytes in a row", "1", "1", "128"),
        word("way", "direction", "both", "to-line", "to-net"),
    ),
    put=_put,
    hides=("requests", "replies", "swallowed-requests"),
)

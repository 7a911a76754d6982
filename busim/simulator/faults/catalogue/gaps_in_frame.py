"""A request reaches the line in pieces."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, time
from busim.simulator.faults.passages import cover_down


def _put(bench: ConverterBench, values: Values) -> Remove:
    def handle(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        if len(data) < 2 or not bench.happens(values["share"]):
            pass_on(data, 0)
            return
        at = bench.stream.between(1, len(data) - 1)
        bench.effect(f"behind byte {at} of {len(data)}")
        pass_on(data[:at], 0)
        pass_on(data[at:], values["gap"] + at * bench.station.setting.char)

    return cover_down(bench, handle)


FAULT = Fault(
    name="gaps-in-frame",
    code="D7",
    title="Gaps inside a frame",
    on="converter",
    hook="converter to line",
    wire="A request goes out in two pieces with an idle gap between them.",
    seen="Cameras that cut frames by silence ignore it: a time-out.",
    parameters=(
        time("gap", "length of the gap", "2 ms", "100 us", "30 ms"),
        share("share of the requests"),
    ),
    put=_put,
    hides=("requests",),
)

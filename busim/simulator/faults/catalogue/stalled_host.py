"""The computer of the master stands still for a moment."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove, remove_all
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, rate, shown_time, time
from busim.simulator.faults.passages import cover_up
from busim.simulator.faults.recurring import recurring


def _put(bench: ConverterBench, values: Values) -> Remove:
    until = [-1]

    def strike() -> None:
        if bench.kernel.now < until[0]:
            return
        length = values["length"] + bench.stream.between(0, values["spread"])
        until[0] = bench.kernel.now + length
        bench.effect(f"for {shown_time(length)}")
        bench.stall_masters(until[0])

    def handle(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        pass_on(data, max(0, until[0] - bench.kernel.now))

    return remove_all(cover_up(bench, handle), recurring(bench, values["rate"], strike))


FAULT = Fault(
    name="stalled-host",
    code="M11",
    title="The master's computer stalls",
    on="converter",
    hook="converter to network",
    wire="Cameras answer in time. The master does nothing for a while and finds the reply when it goes on. (Of a "
    "program outside only what it receives waits: busim leaves its process alone.)",
    seen="A time-out that is none: the reply is there. A master that catches up sends a burst of requests.",
    parameters=(
        rate("rate", "how often", "0.5 /s", "5 /s"),
        time("length", "how long at least", "200 ms", "1 ms", "2 s"),
        time("spread", "up to so much longer, drawn each time", "0", "0", "2 s"),
    ),
    put=_put,
    hides=("late-requests",),
)

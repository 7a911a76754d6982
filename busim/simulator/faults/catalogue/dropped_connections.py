"""Connections break."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, rate, word
from busim.simulator.faults.recurring import recurring


def _put(bench: ConverterBench, values: Values) -> Remove:
    def strike() -> None:
        ended = bench.hang_up(reset=values["how"] == "reset")
        if ended:
            bench.effect(f"{ended} connections")

    return recurring(bench, values["rate"], strike)


FAULT = Fault(
    name="dropped-connections",
    code="C7",
    title="Connections are dropped",
    on="converter",
    hook="link",
    wire="The line stays idle where a request or its reply was lost with the connection.",
    seen="A reset or an end of the connection, with a request under way or not.",
    parameters=(
        rate("rate", "how often", "0.2 /s", "10 /s"),
        word("how", "the way each connection ends", "reset", "close"),
    ),
    put=_put,
    hides=("requests", "replies"),
)

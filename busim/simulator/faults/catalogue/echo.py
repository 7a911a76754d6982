"""A converter hears its own characters."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values


def _put(bench: ConverterBench, _: Values) -> Remove:
    bench.echo(True)

    def told(own: bool) -> None:
        if own:
            bench.effect()

    stop = bench.bursts(told)

    def remove() -> None:
        stop()
        bench.echo(False)

    return remove


FAULT = Fault(
    name="echo",
    code="D4",
    title="Echo of one's own transmission",
    on="converter",
    hook="receiver",
    wire="The converter receives its own characters from the pair and passes them to its clients.",
    seen="The request comes back before the reply; a master may take it for the reply.",
    parameters=(),
    put=_put,
)

"""Another master polls the same line."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.foreign_request import foreign_request
from busim.simulator.faults.parameters import Values, count, rate, word
from busim.simulator.faults.recurring import recurring


def _put(bench: ConverterBench, values: Values) -> Remove:
    raw = foreign_request(bench.protocol, values)

    def strike() -> None:
        if values["listens"] == "yes" and bench.line.busy(bench.station):
            return
        bench.effect()
        bench.line.send(bench.station, raw)

    return recurring(bench, values["rate"], strike)


FAULT = Fault(
    name="second-master",
    code="M5",
    title="A second master",
    on="converter",
    hook="converter to line",
    wire="Requests of somebody else go out at the converter at random instants, and cameras answer them; they "
    "run into others.",
    seen="Replies without a request, wrong values, collisions.",
    parameters=(
        rate("rate", "requests per second", "1 /s", "20 /s"),
        count("bus_id", "the bus ID it polls", "1", "0", "255"),
        count("key", "the value it reads", "0", "0", "65535"),
        word("listens", "whether it waits while the line is busy", "no", "yes"),
    ),
    put=_put,
    says=foreign_request,
    hides=("requests", "replies", "added-requests"),
)

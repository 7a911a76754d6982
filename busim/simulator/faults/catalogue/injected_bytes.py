"""A converter puts bytes of its own into the stream."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, octets, time, word
from busim.simulator.faults.recurring import evenly


def _put(bench: ConverterBench, values: Values) -> Remove:
    def strike() -> None:
        bench.effect(values["bytes"].hex(" "))
        if values["way"] == "to-line":
            bench.line.send(bench.station, values["bytes"])
        else:
            bench.put_up(values["bytes"])

    return evenly(bench, values["period"], strike)


FAULT = Fault(
    name="injected-bytes",
    code="C10",
    title="A converter injects bytes",
    on="converter",
    hook="converter",
    wire="The converter adds bytes of its own towards the network or the line, again and again.",
    seen="Junk between frames; on the line it looks like a second master.",
    parameters=(
        time("period", "time between injections", "1 s", "10 ms", "600 s"),
        octets("bytes", "which", "00"),
        word("way", "direction", "to-net", "to-line"),
    ),
    put=_put,
    hides=("requests", "replies"),
)

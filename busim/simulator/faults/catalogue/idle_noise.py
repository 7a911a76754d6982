"""The undriven pair floats, because it has no bias."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import LineBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, rate
from busim.simulator.faults.recurring import recurring


def _put(bench: LineBench, values: Values) -> Remove:
    bench.bias(False)

    def strike() -> None:
        bench.effect()
        bench.pulse(bench.stream.between(round(0.6 * bench.bit), 9 * bench.bit), floating=True)

    stop = recurring(bench, values["rate"], strike)

    def remove() -> None:
        stop()
        bench.bias(True)

    return remove


FAULT = Fault(
    name="idle-noise",
    code="P1",
    title="A floating idle line",
    on="line",
    hook="line level",
    wire="The bias is gone. While nobody drives the pair a receiver's output is undefined, and false start "
    "bits of 0.6 to 9 bits come at random: 00, FF, FE, F8, 80, some with framing errors.",
    seen="Bytes without a request, before a good reply or after it.",
    parameters=(rate("rate", "false start bits", "2 /s", "20 /s"),),
    put=_put,
    source="TIA/EIA-485-A by ADI AN-960, Table 3, for the undefined range of +-200 mV; the lengths are common "
    "practice, no source",
)

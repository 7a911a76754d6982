"""The common mode leaves the range of the receivers for a while."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import LineBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, rate, share, time
from busim.simulator.faults.recurring import recurring


def _put(bench: LineBench, values: Values) -> Remove:
    def strike() -> None:
        bench.effect()
        end = bench.kernel.now + values["length"]
        _hit(bench, values, end)

    return recurring(bench, values["rate"], strike)


def _hit(bench: LineBench, values: Values, end: int) -> None:
    """Within the window a character is lost with the given chance: look once per character."""
    char = 10 * bench.bit
    if bench.happens(values["loss"]):
        bench.pulse(2 * bench.bit)
    if bench.kernel.now + char < end:
        bench.kernel.at(bench.kernel.now + char, lambda _: _hit(bench, values, end))


FAULT = Fault(
    name="ground-shift",
    code="P6",
    title="Ground potential differs for a while",
    on="line",
    hook="line level",
    wire="In windows of some length characters are damaged with a high chance, as when the common mode leaves "
    "-7 to +12 V.",
    seen="Bursts of checksum errors and silence of several cameras at once.",
    parameters=(
        rate("rate", "windows", "0.1 /s", "1 /s"),
        time("length", "length of a window", "500 ms", "20 ms", "5 s"),
        share("chance of each character in it to be damaged", "0.5").named("loss"),
    ),
    put=_put,
    source="TIA/EIA-485-A for the range of -7 to +12 V; lengths and chances are common practice, no source",
)

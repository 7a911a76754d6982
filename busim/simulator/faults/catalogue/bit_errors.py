"""Single bits are inverted, more often on faster and longer lines."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import LineBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Parameter, Values, word
from busim.simulator.faults.recurring import recurring


def _put(bench: LineBench, values: Values) -> Remove:
    baud = 1e9 / bench.bit
    scale = baud / 9600 * bench.metres / 100 if values["scaled"] == "yes" else 1.0
    edges, placed = values["edges"] == "yes", values["placed"] == "yes"

    def strike() -> None:
        if edges or placed:
            driver = bench.driving()
            if driver is None or (edges and not driver[1]):
                return
            if placed and not bench.happens(driver[0] / bench.metres if bench.metres else 1.0):
                return
        bench.effect()
        bench.pulse(bench.bit)

    return recurring(bench, min(0.05, values["per_bit"] * scale) * baud, strike)


FAULT = Fault(
    name="bit-errors",
    code="P3",
    title="Bit errors, as by reflections",
    on="line",
    hook="line level",
    wire="Pulses of one bit's length invert the level at random instants; the rate may grow with baud and length, "
    "and they may hit only bits beside an edge, or the more the farther away the driver stands.",
    seen="Checksum errors at random, more of them at a higher baud, or of the cameras at the far end.",
    parameters=(
        Parameter("per_bit", "number", "chance of each bit to be hit", "0.0001", "0", "0.01"),
        word("scaled", "whether the chance grows with baud/9600 and metres/100", "no", "yes"),
        word("edges", "whether only bits beside an edge are hit, as by ringing", "no", "yes"),
        word("placed", "whether the chance grows from 0 at the start of the line to all at its end", "no", "yes"),
    ),
    put=_put,
)

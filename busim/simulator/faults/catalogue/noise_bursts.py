"""Groups of fast pulses, as from a switched load."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import LineBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, rate, share, word
from busim.simulator.faults.recurring import evenly, recurring

_PULSES = 75
_PERIOD = 300_000_000  # ns from burst to burst


def _put(bench: LineBench, values: Values) -> Remove:
    spacing = 200_000 if values["kind"] == "5 kHz" else 10_000  # 15 ms or 0.75 ms for 75 pulses

    def strike() -> None:
        hits = [number for number in range(_PULSES) if bench.happens(values["hits"])]
        bench.effect(f"{len(hits)} of {_PULSES} pulses hit")
        now = bench.kernel.now
        for number in hits:
            bench.kernel.at(now + number * spacing, _pulse, bench)

    if values["timing"] == "standard":
        return evenly(bench, _PERIOD, strike)
    return recurring(bench, values["rate"], strike)


def _pulse(bench: LineBench) -> None:
    bench.pulse(max(1, bench.bit // 2))


FAULT = Fault(
    name="noise-bursts",
    code="P7",
    title="Bursts of noise",
    on="line",
    hook="line level",
    wire="A burst of 75 pulses, 15 ms at 5 kHz or 0.75 ms at 100 kHz; each that hits turns the level over for "
    "half a bit. It hits requests, replies and the idle line.",
    seen="One or two damaged frames, false bytes, then clean again.",
    parameters=(
        rate("rate", "bursts, where their timing is random", "1 /s", "4 /s"),
        word("timing", "when bursts come: at random, or every 300 ms as in the standard", "random", "standard"),
        word("kind", "repetition of the pulses", "5 kHz", "100 kHz"),
        share("share of the pulses that hit", "0.2").named("hits"),
    ),
    put=_put,
    source="IEC 61000-4-4 for 75 pulses in 15 ms or 0.75 ms every 300 ms, second-hand; that a pulse hits half a bit is "
    "common practice, no source",
)

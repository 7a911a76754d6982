"""A converter switches its driver in software, which is sometimes late."""

from __future__ import annotations

import math
from collections.abc import Callable

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, time, word
from busim.simulator.faults.passages import cover_down


def _drawn(bench: ConverterBench, values: Values, lead: int, hold: int) -> tuple[int, int]:
    """Late by a time with the given median; one of a hundred is later than `p99`."""
    spread = (
        math.log(max(1.0, values["p99"] / max(1, values["median"]))) / 2.326
    )  # the normal distribution's 99th per cent
    normal = math.sqrt(-2 * math.log(1 - bench.stream.random())) * math.cos(2 * math.pi * bench.stream.random())
    late = round(values["median"] * math.exp(spread * normal))
    return (lead - late if values["side"] != "release" else lead), (hold + late if values["side"] != "enable" else hold)


def _put(bench: ConverterBench, values: Values) -> Remove:
    def handle(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        lead, hold = bench.own_edges()
        if bench.happens(values["share"]):
            lead, hold = _drawn(bench, values, lead, hold)
            bench.effect(f"lead {lead} ns, hold {hold} ns")
        bench.edges(lead, hold)
        pass_on(data, 0)

    uncover = cover_down(bench, handle)

    def remove() -> None:
        uncover()
        bench.edges(*bench.own_edges())

    return remove


FAULT = Fault(
    name="direction-jitter",
    code="D5",
    title="Direction control jitters",
    on="converter",
    hook="driver edge",
    wire="The converter enables and releases its driver late by a time that is different for each frame (log- normal).",
    seen="Random failures, worse under load: the head of a request or of a reply is damaged.",
    parameters=(
        time("median", "half of the edges are later than this", "90 us", "1 us", "100 ms"),
        time("p99", "one of a hundred is later than this", "1400 us", "1 us", "1 s"),
        word("side", "the affected edges", "both", "enable", "release"),
        share("share of the frames"),
    ),
    put=_put,
)

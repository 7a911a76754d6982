"""A packet from the line reaches the master in pieces."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, shown_time, time, word
from busim.simulator.faults.passages import cover_up


def _put(bench: ConverterBench, values: Values) -> Remove:
    def handle(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        if len(data) < 2 or not bench.happens(values["share"]):
            pass_on(data, 0)
            return
        if values["how"] == "bytes":
            cuts = list(range(1, len(data)))
        elif values["how"] == "header":
            cuts = [1]
        elif values["how"] == "checksum":
            cuts = [max(1, len(data) - 2)]
        else:
            cuts = [bench.stream.between(1, len(data) - 1)]
        held = shown_time(len(cuts) * values["pause"])
        # Judges read the time: pauses add up.
        bench.effect(f"{len(data)} bytes in {len(cuts) + 1} pieces, the last {held} late")
        for number, (start, end) in enumerate(zip([0, *cuts], [*cuts, len(data)], strict=True)):
            pass_on(data[start:end], number * values["pause"])

    return cover_up(bench, handle)


FAULT = Fault(
    name="split-stream",
    code="C3",
    title="The stream is cut anywhere",
    on="converter",
    hook="converter to network",
    wire="The line is correct; a packet goes to the network in several pieces, with pauses.",
    seen="Half a frame, then the rest. A parser that forgets the first half loses the reply.",
    parameters=(
        word("how", "place of the cuts", "random", "bytes", "header", "checksum"),
        time("pause", "pause between two pieces", "5 ms", "1 us", "200 ms"),
        share("share of the packets"),
    ),
    put=_put,
    hides=("replies", "late-replies"),
)

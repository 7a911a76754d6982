"""A converter delays each passage more than planned."""

from __future__ import annotations

from busim.simulator.fault_hooks import Crossing, Remove, remove_all
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, shown_time, time, word


class _Slow:
    inner: Crossing

    def __init__(self, bench: ConverterBench, values: Values) -> None:
        self._bench = bench
        self._values = values

    def delay(self) -> int:
        more = 0
        if self._bench.happens(self._values["share"]):
            more = self._values["by"] + self._bench.stream.between(0, self._values["spread"])
            self._bench.effect(shown_time(more))
        return self.inner.delay() + more


def _put(bench: ConverterBench, values: Values) -> Remove:
    removes = []
    if values["way"] != "to-net":
        removes.append(bench.to_line.cover(_Slow(bench, values)))
    if values["way"] != "to-line":
        removes.append(bench.to_net.cover(_Slow(bench, values)))

    return remove_all(*removes)


FAULT = Fault(
    name="slow-converter",
    code="C1",
    title="A converter is slow",
    on="converter",
    hook="converter",
    wire="The line is correct; bytes reach it and leave it later.",
    seen="Time-outs although each request was answered on the line.",
    parameters=(
        time("by", "added delay of a passage", "10 ms", "0", "2 s"),
        time("spread", "largest addition to it, drawn for each", "0", "0", "2 s"),
        share("share of the passages"),
        word("way", "direction", "both", "to-line", "to-net"),
    ),
    put=_put,
    hides=("requests", "replies", "late-replies", "late-requests"),
)

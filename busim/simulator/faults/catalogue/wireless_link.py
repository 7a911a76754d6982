"""The network between master and converter alternates between good and bad."""

from __future__ import annotations

from busim.simulator.fault_hooks import Crossing, Remove, remove_all
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, shown_time, time


class Link:
    """One way of it, good or bad: a channel of two states."""

    inner: Crossing

    def __init__(self, bench: ConverterBench, values: Values) -> None:
        self._bench = bench
        self._values = values
        self._bad = False

    def delay(self) -> int:
        values, stream = self._values, self._bench.stream
        turn = values["bad_to_good"] if self._bad else values["good_to_bad"]
        if stream.random() < turn:
            self._bad = not self._bad
        more: int = values["good"]
        if self._bad:
            more = stream.between(values["bad"] // 16, values["bad"])
        if more:
            self._bench.effect(f"{shown_time(more)}, {'bad' if self._bad else 'good'}")
        return self.inner.delay() + more


def _put(bench: ConverterBench, values: Values) -> Remove:
    return remove_all(bench.to_line.cover(Link(bench, values)), bench.to_net.cover(Link(bench, values)))


FAULT = Fault(
    name="wireless-link",
    code="C18",
    title="A wireless link with bursts of loss",
    on="converter",
    hook="link",
    wire="The line is idle while packets are late; then several requests come together and go out back to back.",
    seen="Many time-outs in a row, then replies in a bunch; false alarms about cameras.",
    parameters=(
        time("good", "delay of a passage while it is good", "8 ms", "0", "1 s"),
        time("bad", "longest delay while it is bad", "800 ms", "1 ms", "10 s"),
        share("chance that it turns bad, for each passage", "0.01").named("good_to_bad"),
        share("chance that it turns good again", "0.2").named("bad_to_good"),
    ),
    put=_put,
    hides=("requests", "replies", "late-replies", "late-requests"),
    source="Gilbert-Elliott for the two states, whose share of bad passages is p/(p + r); the figures are common "
    "practice, no source",
)

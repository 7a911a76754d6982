"""The driver stays on after the last character."""

from __future__ import annotations

from busim.protocols import Reply
from busim.simulator.fault_hooks import CameraReply, Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, shown_time, time


class _Edges:
    """Draws the edges of each frame when it is handed to the driver."""

    inner: CameraReply

    def __init__(self, bench: CameraBench, values: Values) -> None:
        self._bench = bench
        self._values = values

    def answer(self, raw: bytes, reply: Reply) -> tuple[int, bytes]:
        bench, values = self._bench, self._values
        lead, hold = bench.own_edges()
        if bench.happens(values["share"]):
            by = values["by"] + bench.stream.between(0, values["jitter"])
            lead, hold = lead, by
            bench.effect(shown_time(by))
        bench.edges(lead, hold)
        return self.inner.answer(raw, reply)


def _put(bench: CameraBench, values: Values) -> Remove:
    uncover = bench.reply.cover(_Edges(bench, values))

    def remove() -> None:
        uncover()
        bench.edges(*bench.own_edges())

    return remove


FAULT = Fault(
    name="driver-held-long",
    code="D3",
    title="The driver is held too long",
    on="camera",
    hook="driver edge",
    wire="The camera drives mark after its reply; whoever sends meanwhile fights it, and the head of that "
    "frame is destroyed.",
    seen="The next request is not understood when it comes soon.",
    parameters=(
        time("by", "delay of the release", "5 ms", "1 us", "12 ms"),
        time("jitter", "largest addition to it, drawn for each frame", "0", "0", "10 ms"),
        share("share of the frames"),
    ),
    put=_put,
)

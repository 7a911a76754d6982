"""The driver lets go before the last character is over."""

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
            lead, hold = lead, -by
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
    name="driver-released-early",
    code="D1",
    title="The driver is released too early",
    on="camera",
    hook="driver edge",
    wire="The last bits of the last character are cut; without a driver the pair reads as idle, so they become ones.",
    seen="The last byte is wrong or has a framing error; the checksum fails.",
    parameters=(
        time("by", "time before the end of the last character", "200 us", "1 us", "2 ms"),
        time("jitter", "largest addition to it, drawn for each frame", "0", "0", "10 ms"),
        share("share of the frames"),
    ),
    put=_put,
)

"""A reply comes after the master's time-out, and the master takes it for the answer to its next request."""

from __future__ import annotations

from busim.protocols import Reply
from busim.simulator.fault_hooks import CameraReply, Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count, share, shown_time, time


class _Late:
    inner: CameraReply

    def __init__(self, bench: CameraBench, values: Values) -> None:
        self._bench = bench
        self._values = values
        self._left = 0  # replies of a burst still to come

    def answer(self, raw: bytes, reply: Reply) -> tuple[int, bytes]:
        delay, raw = self.inner.answer(raw, reply)
        values, bench = self._values, self._bench
        if not self._left and bench.happens(values["share"]):
            self._left = values["in_a_row"]
        if self._left and raw:
            self._left -= 1
            late = values["by"] + bench.stream.between(0, values["spread"])
            delay += late
            bench.effect(f"reply to {reply.verb} of {reply.key} by {shown_time(late)}")
        return delay, raw


def _put(bench: CameraBench, values: Values) -> Remove:
    return bench.reply.cover(_Late(bench, values))


FAULT = Fault(
    name="late-reply",
    code="M1",
    title="A late reply meets the next request",
    on="camera",
    hook="camera reply",
    wire="The camera begins its reply after its turnaround and `by` more. If that exceeds the master's time-out, the "
    "reply comes during the next request or after it.",
    seen="A time-out; then at once a good reply of the right camera and shape, which belongs to the previous request. "
    "A master that accepts it stores each value under the next request.",
    parameters=(
        time("by", "delay after its turnaround", "300 ms", "1 ms", "60 s"),
        time("spread", "largest addition to it, drawn for each reply", "0"),
        share("share of the requests that start a row of late replies"),
        count("in_a_row", "number of late replies in a row", "1", "1", "100"),
    ),
    put=_put,
    also=("M13",),
)

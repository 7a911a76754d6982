"""Another client does not read, and the converter waits for it."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count, shown_time, time
from busim.simulator.faults.passages import cover_up


def _put(bench: ConverterBench, values: Values) -> Remove:
    state = {"unread": 0, "until": -1}

    def handle(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        now = bench.kernel.now
        if now >= state["until"] >= 0:  # the other client has read what there was
            state["unread"], state["until"] = 0, -1
        state["unread"] += len(data)
        if state["unread"] > values["buffer"] and state["until"] < 0:
            state["until"] = now + values["stall"]
        wait = max(0, state["until"] - now)
        if wait:
            bench.effect(f"{len(data)} bytes wait for {shown_time(wait)}")
        pass_on(data, wait)

    return cover_up(bench, handle)


FAULT = Fault(
    name="slow-client",
    code="C15",
    title="A slow client blocks the others",
    on="converter",
    hook="converter to network",
    wire="The line is as it should be. Another client stops reading; when the converter's buffer for it is full, "
    "nobody gets anything until it reads again.",
    seen="Replies stop for a while and then come all at once.",
    parameters=(
        count("buffer", "bytes that the converter keeps for the other client", "64", "1", "4096"),
        time("stall", "how long the other client does not read once the buffer is full", "500 ms", "1 ms", "60 s"),
    ),
    put=_put,
    hides=("replies", "late-replies"),
)

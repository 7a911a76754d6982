"""A camera begins to answer before the request is over."""

from __future__ import annotations

from busim.protocols import Reply
from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, time
from busim.simulator.faults.replies import cover_replies


def _put(bench: CameraBench, values: Values) -> Remove:
    def change(delay: int, raw: bytes, _: Reply) -> tuple[int, bytes, str] | None:
        return (values["turnaround"], raw, "") if values["turnaround"] < delay else None

    return cover_replies(bench, values, change)


FAULT = Fault(
    name="early-reply",
    code="D6",
    title="A reply comes too early",
    on="camera",
    hook="camera reply",
    wire="The camera answers so soon after the request that a driver may still be on, or a slow master does "
    "not listen yet.",
    seen="The head of the reply is missing, or nothing is heard though a listener on the line sees a good reply.",
    parameters=(
        share(),
        time("turnaround", "turnaround from the end of the request", "50 us", "0", "10 ms"),
    ),
    put=_put,
    also=("M9",),
)

"""A camera answers once and then again."""

from __future__ import annotations

from busim.protocols import Reply
from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, time
from busim.simulator.faults.replies import cover_replies


def _put(bench: CameraBench, values: Values) -> Remove:
    def change(delay: int, raw: bytes, reply: Reply) -> tuple[int, bytes, str]:
        bench.send(raw, bench.asked_at + delay + values["later"])
        return delay, raw, f"reply to {reply.verb} of {reply.key} comes twice"

    return cover_replies(bench, values, change)


FAULT = Fault(
    name="double-reply",
    code="B11",
    title="A camera answers twice",
    on="camera",
    hook="camera reply",
    wire="The whole reply comes again, `after` the start of the first.",
    seen="A valid extra reply, which may pass for the answer to the next request.",
    parameters=(
        share(),
        time("later", "from the start of the first to the start of the second", "30 ms", "1 ms", "10 s"),
    ),
    put=_put,
)

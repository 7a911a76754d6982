"""The camera carries out the request, and its reply is lost."""

from __future__ import annotations

from busim.protocols import Reply
from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, word
from busim.simulator.faults.replies import cover_replies


def _put(bench: CameraBench, values: Values) -> Remove:
    def change(delay: int, _: bytes, reply: Reply) -> tuple[int, bytes, str] | None:
        if values["of"] != "all" and (reply.verb == "read") != (values["of"] == "reads"):
            return None
        return delay, b"", f"reply to {reply.verb} of {reply.key}"

    return cover_replies(bench, values, change)


FAULT = Fault(
    name="lost-reply",
    code="M6",
    title="A reply is lost and the request was carried out",
    on="camera",
    hook="camera reply",
    wire="The request is carried out; nothing answers it.",
    seen="A time-out. A master that repeats a step, a toggle or a store does it twice.",
    parameters=(
        share("share of the replies that are lost"),
        word("of", "the affected replies", "all", "writes", "reads"),
    ),
    put=_put,
    also=("M3",),
)

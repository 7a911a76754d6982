"""Damage that the checksum misses."""

from __future__ import annotations

from busim.foundation.errors import Defect
from busim.protocols import Reply
from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count, share
from busim.simulator.faults.replies import cover_replies


def _put(bench: CameraBench, values: Values) -> Remove:
    def change(delay: int, _: bytes, reply: Reply) -> tuple[int, bytes, str] | None:
        if not reply.values or reply.refused:
            return None
        at = bench.stream.between(0, len(reply.values) - 1)
        changed = list(reply.values)
        changed[at] ^= 1 << bench.stream.between(0, values["bits"] - 1)
        try:
            wrong = bench.protocol.encode_reply(reply._replace(values=tuple(changed)))
        except Defect:  # the value has become too large for a message
            return None
        return delay, wrong, f"value {reply.values[at]} became {changed[at]}"

    return cover_replies(bench, values, change)


FAULT = Fault(
    name="undetected-damage",
    code="M8",
    title="Damage that the checksum lets through",
    on="camera",
    hook="camera reply",
    wire="One bit of a value changes and the checksum fits, as when two errors cancel in a weak check.",
    seen="A sound reply with a wrong value. Only a range check or a second reading finds it.",
    parameters=(
        share(),
        count("bits", "number of low bits of a value that may change", "8", "1", "16"),
    ),
    put=_put,
)

"""One or more bits of a reply are inverted on the way."""

from __future__ import annotations

from busim.protocols import Reply
from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count, share
from busim.simulator.faults.replies import cover_replies


def _put(bench: CameraBench, values: Values) -> Remove:
    def change(delay: int, raw: bytes, _: Reply) -> tuple[int, bytes, str]:
        data = bytearray(raw)
        places = {bench.stream.between(0, 8 * len(raw) - 1) for _ in range(values["bits"])}
        for place in places:
            data[place // 8] ^= 1 << place % 8
        return delay, bytes(data), "bits " + ", ".join(map(str, sorted(places)))

    return cover_replies(bench, values, change)


FAULT = Fault(
    name="damaged-reply",
    code="M7",
    title="Bits of a reply are damaged",
    on="camera",
    hook="camera reply",
    wire="Single bits of the reply are inverted; its length and its instants stay.",
    seen="A reply whose checksum fails. A parser that keeps half of it loses the next ones too.",
    parameters=(
        share(),
        count("bits", "number of inverted bits", "1", "1", "64"),
    ),
    put=_put,
)

"""A reply carries the ID of another camera."""

from __future__ import annotations

from busim.protocols import Reply
from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, time, word
from busim.simulator.faults.replies import cover_replies


def _put(bench: CameraBench, values: Values) -> Remove:
    low, high = bench.protocol.addresses

    def change(delay: int, raw: bytes, reply: Reply) -> tuple[int, bytes, str]:
        if values["bus_id"] == "random":
            other = bench.stream.between(low, high - 1)
            other += other >= reply.address
        elif values["bus_id"] == "next":
            other = low if reply.address >= high else reply.address + 1
        else:
            other = bench.id_of("")
        wrong = bench.protocol.encode_reply(reply._replace(address=other))
        if values["then_right"] == "yes":
            bench.send(raw, bench.asked_at + delay + values["later"])
        return delay, wrong, f"ID {other} for {reply.address}"

    return cover_replies(bench, values, change)


FAULT = Fault(
    name="wrong-id-reply",
    code="B1",
    title="A reply carries the wrong ID",
    on="camera",
    hook="camera reply",
    wire="A valid frame with another bus ID answers the request; the right reply may follow.",
    seen="A sound frame from another ID. Some masters abort at once, others accept it unchecked.",
    parameters=(
        share(),
        word(
            "bus_id",
            "the wrong ID: another camera's on the line, the next number, or any",
            "neighbour",
            "next",
            "random",
        ),
        word("then_right", "whether the right reply follows", "no", "yes"),
        time("later", "from its start to the start of the right one", "20 ms", "1 ms", "1 s"),
    ),
    put=_put,
)

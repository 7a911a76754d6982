"""A camera sends without a request."""

from __future__ import annotations

from busim.protocols import READ, BusProtocol, Reply
from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count, rate, word
from busim.simulator.faults.recurring import recurring


def _message(protocol: BusProtocol, values: Values, bus_id: int | None = None) -> bytes:
    sender = protocol.addresses[0] if bus_id is None else bus_id
    return protocol.encode_reply(Reply(sender, READ, values["key"], (values["value"],)))


def _put(bench: CameraBench, values: Values) -> Remove:
    def strike() -> None:
        if values["senses"] == "yes" and bench.line.busy(bench.station):
            return
        bench.effect("on a busy line" if bench.line.busy(bench.station) else "")
        bench.send(_message(bench.protocol, values, bench.bus_id), bench.kernel.now)

    return recurring(bench, values["rate"], strike)


FAULT = Fault(
    name="unsolicited-message",
    code="B10",
    title="A camera sends without being asked",
    on="camera",
    hook="driver",
    wire="A frame of the shape of a reply comes at random instants, alone or on top of other traffic.",
    seen="A reply without a request, or a collision now and then.",
    parameters=(
        rate("rate", "how often", "1 /s", "20 /s"),
        word("senses", "whether it waits while the line is busy", "no", "yes"),
        count("key", "key of the value it reports", "0", "0", "65535"),
        count("value", "the value", "0", "0", "65535"),
    ),
    put=_put,
    says=_message,
)

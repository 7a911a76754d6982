"""A connection breaks in the middle of a reply, and the rest of it meets the next connection."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove, remove_all
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count, share, word
from busim.simulator.faults.passages import cover_up


def _put(bench: ConverterBench, values: Values) -> Remove:
    rest = [b""]

    def handle(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        at = min(values["behind"], len(data) - 1)
        if at < 1 or not bench.happens(values["share"]):
            pass_on(data, 0)
            return
        pass_on(data[:at], 0)
        ended = bench.hang_up(reset=values["how"] == "reset")
        if not ended:  # nobody from outside is there whose connection could break
            pass_on(data[at:], 0)
            return
        bench.effect(f"behind byte {at} of {len(data)}")
        rest[0] = data[at:] if values["rest"] == "delivered" else b""

    def arrived(client: int) -> None:
        left, rest[0] = rest[0], b""
        if left:
            bench.effect(f"client {client} gets the last {len(left)} bytes")
            bench.put_up(left, client)

    return remove_all(cover_up(bench, handle), bench.arrivals(arrived))


FAULT = Fault(
    name="cut-reply",
    code="C9",
    title="A reply crosses a reconnect",
    on="converter",
    hook="link",
    wire="The line is as it should be; the connection breaks inside a reply.",
    seen="Half a frame, then the end of the connection; the other half comes first on the next one.",
    parameters=(
        count("behind", "bytes of the reply that arrive before the break", "3", "1", "64"),
        word("rest", "what becomes of the rest: the next client gets it, or it is lost", "delivered", "lost"),
        word("how", "how the connection ends", "reset", "close"),
        share("share of the replies", "0.02"),
    ),
    put=_put,
    hides=("requests", "replies", "late-replies"),
)

"""A converter hands old bytes to whoever connects."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove, remove_all
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count, share, word
from busim.simulator.faults.passages import cover_up


def _put(bench: ConverterBench, values: Values) -> Remove:
    last = [b""]

    def remember(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        last[0] = data
        pass_on(data, 0)

    def arrived(client: int) -> None:
        if not bench.happens(values["share"]):
            return
        data = _stale(bench, values, last[0])
        if data:
            bench.effect(f"client {client} gets {len(data)} old bytes")
            bench.put_up(data, client)

    return remove_all(cover_up(bench, remember), bench.arrivals(arrived))


def _stale(bench: ConverterBench, values: Values, last: bytes) -> bytes:
    """What the converter kept: the last packet of the line, half of it, or noise."""
    if values["content"] == "noise":
        return bytes(bench.stream.between(0, 255) for _ in range(values["bytes"]))
    return last if values["content"] == "old-reply" else last[: (len(last) + 1) // 2]


FAULT = Fault(
    name="stale-bytes",
    code="C8",
    title="Stale bytes at connecting",
    on="converter",
    hook="link",
    wire="The line is as it should be; what the converter kept goes to the next client that connects.",
    seen="The first bytes of a new connection are an old reply, half of one, or noise.",
    parameters=(
        word("content", "what it kept", "old-reply", "half-frame", "noise"),
        count("bytes", "how many bytes of noise", "20", "1", "10240"),
        share("share of the connections"),
    ),
    put=_put,
    hides=("replies", "late-replies"),
)

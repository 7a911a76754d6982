"""A second process reads the same port, and each gets a part of the bytes."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, word
from busim.simulator.faults.passages import cover_up


def _put(bench: ConverterBench, values: Values) -> Remove:
    def handle(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        if values["takes"] == "reads":
            left = b"" if bench.happens(values["share"]) else data
        else:
            left = bytes(one for one in data if not bench.happens(values["share"]))
        if left != data:
            bench.effect(f"{len(data) - len(left)} of {len(data)} bytes go to the other process")
        pass_on(left, 0)

    return cover_up(bench, handle)


FAULT = Fault(
    name="second-reader",
    code="C23",
    title="Two processes read one port",
    on="converter",
    hook="converter to network",
    wire="The line is as it should be; a part of what was received goes to somebody else.",
    seen="Frames with bytes missing, or replies missing, without an error anywhere.",
    parameters=(
        share("share that the other process gets", "0.3"),
        word("takes", "what it takes: single bytes, or whole reads", "bytes", "reads"),
    ),
    put=_put,
    hides=("replies",),
)

"""A converter doubles FF as Telnet does, and nothing undoes it."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, word
from busim.simulator.faults.passages import cover_down, cover_up


def _put(bench: ConverterBench, values: Values) -> Remove:
    def handle(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        left = data.replace(b"\xff", b"\xff\xff")
        if values["cr_nul"] == "yes":
            left = left.replace(b"\r", b"\r\0")
        if left != data:
            bench.effect(f"{len(left) - len(data)} bytes more")
        pass_on(left, 0)

    removes = []
    if values["way"] != "to-line":
        removes.append(cover_up(bench, handle))
    if values["way"] != "to-net":
        removes.append(cover_down(bench, handle))

    def remove() -> None:
        for each in removes:
            each()

    return remove


FAULT = Fault(
    name="telnet-escapes",
    code="C11",
    title="Telnet escapes in a raw stream",
    on="converter",
    hook="converter",
    wire="A byte FF is doubled on the way out, and one of two is removed on the way in.",
    seen="Each frame with an FF in it is one byte longer, and its checksum is off.",
    parameters=(
        word("cr_nul", "whether 0D is followed by 00", "no", "yes"),
        word("way", "direction", "both", "to-line", "to-net"),
    ),
    put=_put,
)

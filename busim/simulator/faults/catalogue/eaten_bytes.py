"""A line discipline eats or changes certain bytes."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, octets, word
from busim.simulator.faults.passages import cover_ways


def _put(bench: ConverterBench, values: Values) -> Remove:
    def handle(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        changes = {values["changes"][n]: values["changes"][n + 1] for n in range(0, len(values["changes"]) - 1, 2)}
        left = bytes(changes.get(one, one) for one in data if one not in values["eats"])
        if left != data:
            bench.effect(f"{data.hex(' ')} became {left.hex(' ')}")
        pass_on(left, 0)

    return cover_ways(bench, values["way"], handle)


FAULT = Fault(
    name="eaten-bytes",
    code="L3",
    title="Certain bytes are eaten or changed",
    on="converter",
    hook="converter",
    wire="Bytes of certain values vanish, or become others; all else passes.",
    seen="About one frame in a hundred lacks a byte, always one of the same value.",
    parameters=(
        octets("eats", "values that vanish", "11 13"),
        octets("changes", "values that change, as pairs of old and new", ""),
        word("way", "direction", "both", "to-line", "to-net"),
    ),
    put=_put,
    hides=("requests", "replies", "swallowed-requests"),
)

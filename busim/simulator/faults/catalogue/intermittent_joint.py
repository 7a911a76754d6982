"""A joint opens now and then."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import LineBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count, rate, time
from busim.simulator.faults.recurring import recurring


def _put(bench: LineBench, values: Values) -> Remove:
    position = min(values["position"], bench.positions)
    open_since = [-1]

    def close(_: object) -> None:
        if open_since[0] >= 0:
            open_since[0] = -1
            bench.join(position)

    def strike() -> None:
        if open_since[0] < 0:
            open_since[0] = bench.kernel.now
            bench.cut(position)
            bench.effect(f"ahead of position {position}")
            bench.kernel.at(bench.kernel.now + values["length"], close)

    stop = recurring(bench, values["rate"], strike)

    def remove() -> None:
        stop()
        close(None)

    return remove


FAULT = Fault(
    name="intermittent-joint",
    code="P12",
    title="A joint opens now and then",
    on="line",
    hook="line",
    wire="The pair opens before a position for a moment, at random instants.",
    seen="All cameras behind one position miss requests now and then, at the same time.",
    parameters=(
        count("position", "position of the order before which it opens, counted from 0", "3", "0", "300"),
        rate("rate", "how often", "0.2 /s", "1 /s"),
        time("length", "length of each opening", "50 ms", "1 ms", "1 s"),
    ),
    put=_put,
)

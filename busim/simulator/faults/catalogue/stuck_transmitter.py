"""A camera's driver never lets go, or sends without end."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, octets, time, word
from busim.simulator.faults.recurring import evenly


def _put(bench: CameraBench, values: Values) -> Remove:
    bench.seize()
    if values["mode"] == "babble":
        data = values["bytes"] or b"\x55"
        char = bench.station.setting.char

        def babble() -> None:
            bench.effect(data.hex(" "))
            bench.line.send(bench.station, data)

        stop = evenly(bench, max(1, len(data) * char + values["pause"]), babble)
    else:
        stop = _hold(bench)

    def remove() -> None:
        stop()
        bench.release()

    return remove


def _hold(bench: CameraBench) -> Remove:
    """Drive space until it is taken out, from when the driver has finished what it sends."""
    state = {"on": True, "breaking": False}

    def begin(_: object) -> None:
        if not state["on"]:
            return
        burst = bench.station.burst
        over = 0 if burst is None else max(burst.off, burst.end)
        if over > bench.kernel.now:
            bench.kernel.at(over, begin)
            return
        state["breaking"] = True
        bench.line.begin_break(bench.station)
        bench.effect("space")

    def stop() -> None:
        state["on"] = False
        if state["breaking"]:
            state["breaking"] = False
            bench.line.end_break(bench.station)

    begin(None)
    return stop


FAULT = Fault(
    name="stuck-transmitter",
    code="P8",
    title="A stuck transmitter",
    on="camera",
    hook="driver",
    wire="One driver holds the pair at space (a break without end), or sends bytes for ever; nobody else gets through.",
    seen="Every camera of the line times out at once, or answers garbage.",
    parameters=(
        word("mode", "the kind of jam", "space", "babble"),
        octets("bytes", "the bytes it sends", "55"),
        time("pause", "pause between two of its bursts", "0", "0", "10 s"),
    ),
    put=_put,
)

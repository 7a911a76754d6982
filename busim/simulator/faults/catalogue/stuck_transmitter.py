"""A camera's driver never lets go, or sends without end."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, octets, time, word
from busim.simulator.faults.recurring import evenly

_AT_ONCE = 64  # characters


def _put(bench: CameraBench, values: Values) -> Remove:
    bench.seize()
    begin = _babbling(bench, values) if values["mode"] == "babble" else _holding(bench, values["mode"])
    stop = _in_turns(bench, values, begin) if values["rests"] else begin()

    def remove() -> None:
        stop()
        bench.release()

    return remove


def _in_turns(bench: CameraBench, values: Values, begin: Callable[[], Remove]) -> Remove:
    """Its driver grows hot, shuts down, cools and goes on."""
    state: dict[str, Remove | None] = {"stop": begin()}
    over = [False]

    def rest(_: object) -> None:
        stop, state["stop"] = state["stop"], None
        if stop is not None and not over[0]:
            stop()
            bench.kernel.at(bench.kernel.now + values["rests"], again)

    def again(_: object) -> None:
        if not over[0]:
            state["stop"] = begin()
            bench.kernel.at(bench.kernel.now + values["works"], rest)

    bench.kernel.at(bench.kernel.now + values["works"], rest)

    def stop() -> None:
        over[0] = True
        held, state["stop"] = state["stop"], None
        if held is not None:
            held()

    return stop


def _babbling(bench: CameraBench, values: Values) -> Callable[[], Remove]:
    data: bytes = values["bytes"] or b"\x55"
    char, pause = bench.station.setting.char, values["pause"]
    if not pause:  # all but without a gap: portions that end, or one burst would grow for ever
        data *= max(1, _AT_ONCE // len(data))
        pause = char // 10

    def babble() -> None:
        bench.effect(data.hex(" "))
        bench.line.send(bench.station, data)

    return lambda: evenly(bench, max(1, len(data) * char + pause), babble)


def _holding(bench: CameraBench, mode: str) -> Callable[[], Remove]:
    return lambda: _hold(bench, mode)


def _hold(bench: CameraBench, mode: str) -> Remove:
    """Drive one level until it is taken out, from when the driver has finished what it sends."""
    state = {"on": True, "holds": False}

    def begin(_: object) -> None:
        if not state["on"]:
            return
        burst = bench.station.burst
        over = 0 if burst is None else max(burst.off, burst.end)
        if over > bench.kernel.now:
            bench.kernel.at(over, begin)
            return
        state["holds"] = True
        if mode == "mark":
            bench.hold_mark(True)
        else:
            bench.line.begin_break(bench.station)
        bench.effect(mode)

    def stop() -> None:
        state["on"] = False
        if state["holds"]:
            state["holds"] = False
            if mode == "mark":
                bench.hold_mark(False)
            else:
                bench.line.end_break(bench.station)

    begin(None)
    return stop


FAULT = Fault(
    name="stuck-transmitter",
    code="P8",
    title="A stuck transmitter",
    on="camera",
    hook="driver",
    wire="One driver holds the pair at space (a break without end) or at mark, or sends bytes for ever; nobody else "
    "gets through. Against a driver at mark a space still wins on a line whose contention is `space-wins`; with "
    "`random` or `nearer-wins` it garbles. A driver that grows hot rests now and then.",
    seen="Every camera of the line times out at once, or answers garbage.",
    parameters=(
        word("mode", "the kind of jam", "space", "mark", "babble"),
        octets("bytes", "the bytes it sends", "55"),
        time("pause", "pause between two of its bursts", "1 ms", "0", "10 s"),
        time("works", "how long it drives until it is too hot, where it rests", "5 s", "100 ms", "60 s"),
        time("rests", "how long it rests then; 0: never", "0", "0", "60 s"),
    ),
    put=_put,
)

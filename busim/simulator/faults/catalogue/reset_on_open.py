"""Opening the port toggles its control lines: a junk byte, and whatever hangs on them starts anew."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove, remove_all
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, octets, share, time, word
from busim.simulator.faults.passages import cover_down


def _put(bench: ConverterBench, values: Values) -> Remove:
    until = [-1]

    def arrived(client: int) -> None:
        bench.effect(f"client {client} opens the port")
        until[0] = bench.kernel.now + values["boot"]
        if values["byte"] and bench.happens(values["glitch"]):
            bench.line.send(bench.station, values["byte"])
        if values["cameras"] == "boot":
            bench.reset_cameras()

    def handle(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        if bench.kernel.now < until[0]:
            bench.effect(f"{len(data)} bytes lost: the board starts")
        else:
            pass_on(data, 0)

    return remove_all(bench.arrivals(arrived), cover_down(bench, handle))


FAULT = Fault(
    name="reset-on-open",
    code="C22",
    title="Opening the port resets the board",
    on="converter",
    hook="link",
    wire="A junk byte when somebody opens the port; nothing gets through while the board starts.",
    seen="The first requests after opening are lost. Who opens the port for each request never gets an answer.",
    parameters=(
        time("boot", "how long the board starts", "1500 ms", "0", "10 s"),
        share("chance of a junk byte at opening", "0.3").named("glitch"),
        octets("byte", "which byte", "00"),
        word("cameras", "what the cameras do", "stay", "boot"),
    ),
    put=_put,
    hides=("requests", "replies"),
)

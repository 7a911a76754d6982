"""Somebody plugs a camera in: the supply and the pair collapse for a moment."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count, share, time


def _put(bench: CameraBench, values: Values) -> Remove:
    bench.effect("plugged in")
    bench.line.pulse(values["length"], False)
    for camera in bench.neighbours(values["reach"]):
        if camera.happens(values["share"]):
            camera.effect("reboots: its neighbour was plugged in")
            camera.restart()
    bench.restart()
    return lambda: None


FAULT = Fault(
    name="hot-plug",
    code="P10",
    title="A camera is plugged in while it runs",
    on="camera",
    hook="supply",
    wire="The level of the pair is wrong for some milliseconds, the byte in flight is lost; the camera boots, and so "
    "may its neighbours.",
    seen="One bad frame, and silence of several neighbours for one boot time.",
    parameters=(
        time("length", "how long the pair is disturbed", "3 ms", "1 ms", "50 ms"),
        count("reach", "so many cameras on either side may reboot", "1", "0", "3"),
        share("chance of each of them", "0.3"),
    ),
    put=_put,
)

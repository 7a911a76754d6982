"""A camera boots by itself."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, octets


def _put(bench: CameraBench, values: Values) -> Remove:
    def chatter() -> None:
        if values["chatter"]:
            bench.effect(values["chatter"].hex(" "))
            bench.send(values["chatter"], bench.kernel.now)

    bench.effect()
    bench.restart()
    return bench.booted(chatter)


FAULT = Fault(
    name="camera-reboot",
    code="B6",
    title="A camera reboots",
    on="camera",
    hook="supply",
    wire="The reply under way breaks off; the camera is silent for as long as its model boots, and what was not "
    "saved is gone. It may greet the line when it is up.",
    seen="A burst of time-outs of one camera, perhaps junk between others, then a camera with its saved values.",
    parameters=(octets("chatter", "what it sends when it has booted", ""),),
    put=_put,
)

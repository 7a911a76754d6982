"""An adapter is unplugged, and comes back."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, time


def _put(bench: ConverterBench, values: Values) -> Remove:
    renamed = bench.happens(values["renamed"])
    bench.effect("comes back under another name" if renamed else "comes back under its name")
    bench.unplug(values["back"], renamed=renamed)
    return lambda: None


FAULT = Fault(
    name="unplugged-adapter",
    code="C21",
    title="An adapter drops out and comes back",
    on="converter",
    hook="link",
    wire="The line is silent while the adapter is away; what was under way is lost.",
    seen="Errors on the open port. Afterwards the port is there again, perhaps as another device; the old descriptor "
    "stays useless for good.",
    parameters=(
        time("back", "how long it is away", "1 s", "500 ms", "60 s"),
        share("chance that it comes back as another device", "0.5").named("renamed"),
    ),
    put=_put,
    hides=("requests", "replies"),
)

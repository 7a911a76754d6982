"""A converter answers COM port control and does not do what it says."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, time, word


def _put(bench: ConverterBench, values: Values) -> Remove:
    return bench.port_control(values["manner"], values["delay"], bench.effect)


FAULT = Fault(
    name="ignored-port-control",
    code="C12",
    title="COM port control is not obeyed",
    on="converter",
    hook="converter",
    wire="The port stays as it is set, or is set late; the line goes on at the old baud rate.",
    seen="Success where nothing was set, another value than the one asked for, or no answer at all.",
    parameters=(
        word("manner", "how it answers: yes to all, its own values, not at all, or right and late", "acknowledges",
             "answers-other", "silent", "applies"),
        time("delay", "how late the answer is", "0", "0", "5 s"),
    ),
    put=_put,
    source="RFC 2217 for the messages; what boxes make of them is common practice, no source",
)  # fmt: skip

"""A converter's port has settings that differ from the line's."""

from __future__ import annotations

from fractions import Fraction

from busim.simulator.bus import Setting, setting
from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count
from busim.simulator.faults.settings import retuned


def _put(bench: ConverterBench, values: Values) -> Remove:
    def change(own: Setting) -> Setting:
        return setting(Fraction(values["baud"]), own.format, own.ppm, own.inverted)

    return retuned(bench, change)


FAULT = Fault(
    name="wrong-port-settings",
    code="L1",
    title="A converter at the wrong baud",
    on="converter",
    hook="receiver",
    wire="Its characters are noise to all cameras, and theirs are noise to it.",
    seen="Silence or garbage of every camera behind one converter.",
    parameters=(count("baud", "the wrong baud, Bd", "9600", "50", "10000000"),),
    put=_put,
)

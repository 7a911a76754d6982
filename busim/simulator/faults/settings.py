"""The common part of faults in the settings of a port: another baud, format, clock or polarity."""

from __future__ import annotations

from busim.simulator.fault_hooks import Remove, remove_all
from busim.simulator.faults.benches import Change, StationBench


def retuned(bench: StationBench, change: Change) -> Remove:
    """Put the port at another setting. Each burst of the line then counts as an effect."""

    def told(_: bool) -> None:
        bench.effect()

    return remove_all(bench.bursts(told), bench.retune(change))

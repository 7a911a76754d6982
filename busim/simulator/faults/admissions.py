"""The common part of faults that keep new clients of a converter from the line."""

from __future__ import annotations

from busim.simulator.converters import Arrival
from busim.simulator.fault_hooks import Admission, Remove
from busim.simulator.faults.benches import ConverterBench


class _NobodyServed:
    """Treats every new client alike. Those that are there stay and leave as before."""

    inner: Admission

    def __init__(self, bench: ConverterBench, treatment: Arrival) -> None:
        self._bench, self._treatment = bench, treatment

    def stay(self, client: int) -> None:
        self.inner.stay(client)

    def arrive(self, client: int, now: int) -> Arrival:
        self._bench.effect(f"client {client}")
        return self._treatment

    def leave(self, client: int, now: int, *, ended: bool) -> int | None:
        return self.inner.leave(client, now, ended=ended)


def serve_nobody_new(bench: ConverterBench, *, connected: bool) -> Remove:
    """Serve no new client of this converter until removed: `connected` and ignored, or else refused."""
    return bench.slots.cover(_NobodyServed(bench, Arrival(connected, served=False)))

"""A converter accepts clients and serves none of them."""

from __future__ import annotations

from busim.simulator.converters import Arrival
from busim.simulator.fault_hooks import Admission, Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values


class _Full:
    inner: Admission

    def __init__(self, bench: ConverterBench) -> None:
        self._bench = bench

    def stay(self, client: int) -> None:
        self.inner.stay(client)

    def arrive(self, client: int, now: int) -> Arrival:
        self._bench.effect(f"client {client}")
        return Arrival(True, False)

    def leave(self, client: int, now: int, *, ended: bool) -> int | None:
        return self.inner.leave(client, now, ended=ended)


def _put(bench: ConverterBench, _: Values) -> Remove:
    return bench.slots.cover(_Full(bench))


FAULT = Fault(
    name="ignored-clients",
    code="C6",
    title="A stale session holds the port",
    on="converter",
    hook="link",
    wire="Nothing: bytes of a new client do not reach the line.",
    seen="A connection that opens and never answers.",
    parameters=(),
    put=_put,
)

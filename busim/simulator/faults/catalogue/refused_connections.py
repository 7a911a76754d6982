"""A converter refuses new clients."""

from __future__ import annotations

from busim.simulator.converters import Arrival
from busim.simulator.fault_hooks import Admission, Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values


class _Closed:
    inner: Admission

    def __init__(self, bench: ConverterBench) -> None:
        self._bench = bench

    def stay(self, client: int) -> None:
        self.inner.stay(client)

    def arrive(self, client: int, now: int) -> Arrival:
        self._bench.effect(f"client {client}")
        return Arrival(False, False)

    def leave(self, client: int, now: int, *, ended: bool) -> int | None:
        return self.inner.leave(client, now, ended=ended)


def _put(bench: ConverterBench, _: Values) -> Remove:
    return bench.slots.cover(_Closed(bench))


FAULT = Fault(
    name="refused-connections",
    code="C5",
    title="Connections are refused",
    on="converter",
    hook="link",
    wire="Nothing new: no further client reaches the line while it lasts.",
    seen="Refused connections while the fault lasts.",
    parameters=(),
    put=_put,
)

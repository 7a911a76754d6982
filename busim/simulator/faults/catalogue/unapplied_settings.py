"""A write is acknowledged and not carried out, or carried out late."""

from __future__ import annotations

from busim.protocols import READ, SEARCH, Request
from busim.simulator.fault_hooks import CameraRequest, Remove, remove_all
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, time, word


class _Pretender:
    inner: CameraRequest

    def __init__(self, bench: CameraBench, values: Values) -> None:
        self._bench = bench
        self._values = values
        self._waiting: list[Request] = []

    def __call__(self, request: Request, at: int, /) -> None:
        bench = self._bench
        plain = request.verb in (READ, SEARCH) or request.address == bench.protocol.broadcast
        if plain or not bench.happens(self._values["share"]):
            self.inner(request, at)
            return
        when = self._values["when"]
        bench.effect(f"{request.verb} of {request.key} is acknowledged and takes effect {when}")
        bench.acknowledge(request, at)
        if when == "later":
            bench.kernel.at(at + self._values["delay"], bench.carry_out, request)
        elif when == "after-reboot":
            self._waiting.append(request)

    def booted(self) -> None:
        for request in self._waiting:
            self._bench.carry_out(request)
        self._waiting.clear()


def _put(bench: CameraBench, values: Values) -> Remove:
    pretender = _Pretender(bench, values)
    return remove_all(bench.request.cover(pretender), bench.booted(pretender.booted))


FAULT = Fault(
    name="unapplied-settings",
    code="L4",
    title="A setting is acknowledged and not applied",
    on="camera",
    hook="camera request",
    wire="The camera acknowledges a write or a new bus ID as always; the value changes later, after the next boot, or "
    "never.",
    seen="Success; the old value, or the old ID, is still there. Only reading it back finds it.",
    parameters=(
        word("when", "when it takes effect", "never", "later", "after-reboot"),
        time("delay", "how much later", "500 ms", "1 ms", "60 s"),
        share("share of the writes"),
    ),
    put=_put,
    also=("B4",),
)

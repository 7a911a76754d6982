"""A camera waits for the reply to a request that is not its own, and misses its own request over it."""

from __future__ import annotations

from busim.protocols import Request
from busim.simulator.fault_hooks import CameraRequest, Remove, remove_all
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, time


class _Bystander:
    """`taken`: it took the last burst for the reply that it waited for."""

    inner: CameraRequest

    def __init__(self, bench: CameraBench, values: Values) -> None:
        self._bench = bench
        self._values = values
        self._waits_until = -1
        self._taken = False

    def over(self, own: bool) -> None:
        """A burst is over; it comes before the request in it is known."""
        self._taken = not own and self._bench.kernel.now < self._waits_until
        self._waits_until = -1

    def __call__(self, request: Request, at: int, /) -> None:
        if request.address not in (self._bench.bus_id, self._bench.protocol.broadcast):
            if not self._taken and self._bench.happens(self._values["share"]):
                self._waits_until = at + self._values["waits"]
            return
        if self._taken:
            self._bench.effect(f"{request.verb} of {request.key} was taken for a reply")
            return
        self.inner(request, at)


def _put(bench: CameraBench, values: Values) -> Remove:
    low, high = bench.protocol.addresses
    bystander = _Bystander(bench, values)
    bench.listen_to(tuple(range(low, high + 1)))
    return remove_all(
        lambda: bench.listen_to(None), bench.bursts(bystander.over), bench.request.cover(bystander)
    )  # fmt: skip


FAULT = Fault(
    name="confused-bystander",
    code="B8",
    title="A bystander loses its place",
    on="camera",
    hook="camera request",
    wire="The camera follows the requests of others and waits for their replies. Where one does not come, it takes the "
    "next request for it, its own included.",
    seen="A camera stops answering when another one is unplugged.",
    parameters=(
        time("waits", "how long it waits for the reply of another", "500 ms", "1 ms", "10 s"),
        share("share of the requests of others that it follows"),
    ),
    put=_put,
)

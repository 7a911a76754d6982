"""A camera answers what it should leave alone: requests for others, requests to all, damaged frames."""

from __future__ import annotations

from busim.protocols import READ, Reply, Request
from busim.simulator.fault_hooks import CameraRequest, Remove, remove_all
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, word

_ERROR = b"\x15"  # NAK of ASCII: an answer without a frame


class _Eager:
    inner: CameraRequest

    def __init__(self, bench: CameraBench, values: Values) -> None:
        self._bench = bench
        self._values = values

    def __call__(self, request: Request, at: int, /) -> None:
        bench, protocol = self._bench, self._bench.protocol
        if request.address == bench.bus_id or (
            request.address == protocol.broadcast and self._values["answers"] == "others"
        ):
            self.inner(request, at)
        elif not bench.happens(self._values["share"]):
            if request.address == protocol.broadcast:
                self.inner(request, at)
        elif request.address == protocol.broadcast:
            self.inner(request, at)
            bench.effect("a request to all")
            values = (0,) * request.size if request.verb == READ else request.values
            reply = Reply(bench.bus_id, request.verb, request.key, values, 0, request.form)
            bench.send(protocol.encode_reply(reply), at + _soon(bench))
        else:
            bench.effect(f"a request for ID {request.address}")
            self.inner(request, at)

    def spoiled(self, at: int) -> None:
        """A frame came damaged."""
        if self._bench.happens(self._values["share"]):
            self._bench.effect("a damaged frame")
            self._bench.send(_ERROR, at + _soon(self._bench))


def _soon(bench: CameraBench) -> int:
    """Four characters: sooner than a camera that was meant."""
    return 4 * bench.station.setting.char


def _put(bench: CameraBench, values: Values) -> Remove:
    eager = _Eager(bench, values)
    if values["answers"] == "damaged":
        return bench.spoiled(eager.spoiled)
    if values["answers"] == "broadcasts":
        return bench.request.cover(eager)
    low, high = bench.protocol.addresses
    bench.listen_to(tuple(range(low, high + 1)))
    return remove_all(lambda: bench.listen_to(None), bench.request.cover(eager))


FAULT = Fault(
    name="answers-any-id",
    code="B3",
    title="A camera answers what it should not",
    on="camera",
    hook="camera request",
    wire="Requests for other bus IDs are carried out and answered under those IDs, beside the camera that was meant; "
    "or a request to all is answered, or a damaged frame, with a byte that is no frame.",
    seen="Two replies at once or in a row, IDs that nobody has, a reply where none is expected.",
    parameters=(
        word("answers", "what it answers", "others", "broadcasts", "damaged"),
        share("share of the occasions at which it does"),
    ),
    put=_put,
)

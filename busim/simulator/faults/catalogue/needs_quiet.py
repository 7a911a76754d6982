"""A camera ignores requests that come too soon after any traffic."""

from __future__ import annotations

from busim.protocols import Request
from busim.simulator.fault_hooks import CameraRequest, Remove, remove_all
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, time


class _Touchy:
    inner: CameraRequest

    def __init__(self, bench: CameraBench, values: Values) -> None:
        self._bench = bench
        self._values = values
        self._quiet_since = -(10**18)

    def over(self, _: bool) -> None:
        self._quiet_since, self.before = self._bench.kernel.now, self._quiet_since

    before = -(10**18)

    def __call__(self, request: Request, at: int, /) -> None:
        size = len(self._bench.protocol.encode_request(request)) if request.verb != "other" else 0
        setting = self._bench.station.setting
        begun = at - setting.offset(size * setting.halves) - 4 * setting.char
        last = self._quiet_since if self._quiet_since <= begun + setting.char else self.before
        if begun - last < self._values["quiet"]:
            self._bench.effect(f"{request.verb} of {request.key}, {max(0, begun - last)} ns after other traffic")
            return
        self.inner(request, at)


def _put(bench: CameraBench, values: Values) -> Remove:
    touchy = _Touchy(bench, values)
    return remove_all(bench.bursts(touchy.over), bench.request.cover(touchy))


FAULT = Fault(
    name="needs-quiet",
    code="B7",
    title="A camera needs quiet before a request",
    on="camera",
    hook="camera request",
    wire="A request whose first character comes less than `quiet` after the last burst on the line is ignored.",
    seen="Every second request times out; a longer gap mends it.",
    parameters=(time("quiet", "quiet needed before a request", "10 ms", "100 us", "1 s"),),
    put=_put,
)

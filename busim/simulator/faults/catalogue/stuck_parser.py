"""A camera waits for the rest of a damaged request, and swallows the next ones."""

from __future__ import annotations

from busim.protocols import Request
from busim.simulator.fault_hooks import CameraRequest, Remove, remove_all
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count, time, word


class _Stuck:
    """`waits`: bytes that it still wants; `quiet_since`: when the last burst was over, and the one before it."""

    inner: CameraRequest

    def __init__(self, bench: CameraBench, values: Values) -> None:
        self._bench = bench
        self._values = values
        self._waits = 0
        self._over = (-(10**18), -(10**18))

    def spoiled(self, _: int) -> None:
        self._waits = self._values["bytes"]

    def burst(self, _: bool) -> None:
        self._over = self._over[1], self._bench.kernel.now

    def __call__(self, request: Request, at: int, /) -> None:
        size = len(self._bench.protocol.encode_request(request))
        if self._waits and not self._rested(size):
            if self._values["until"] == "length":
                self._waits = max(0, self._waits - size)
            self._bench.effect(f"{request.verb} of {request.key} is swallowed")
            return
        self._waits = 0
        self.inner(request, at)

    def _rested(self, size: int) -> bool:
        """Whether the line was idle for long enough ahead of this request."""
        if self._values["until"] != "idle":
            return False
        setting = self._bench.station.setting
        before, last = self._over
        begun = last - setting.offset(size * setting.halves)
        wanted: int = self._values["idle"]
        return begun - before >= wanted


def _put(bench: CameraBench, values: Values) -> Remove:
    stuck = _Stuck(bench, values)
    return remove_all(bench.spoiled(stuck.spoiled), bench.bursts(stuck.burst), bench.request.cover(stuck))


FAULT = Fault(
    name="stuck-parser",
    code="B9",
    title="A camera's parser is stuck after a damaged request",
    on="camera",
    hook="camera request",
    wire="After a frame that is damaged or cut short the camera waits for the rest of it and takes the following "
    "requests for that, until the line was idle for long enough or so many bytes came.",
    seen="One error becomes several time-outs of the same camera.",
    parameters=(
        word("until", "what ends it", "idle", "length"),
        time("idle", "how long the line must be idle", "20 ms", "300 us", "10 s"),
        count("bytes", "how many bytes it waits for", "7", "1", "256"),
    ),
    put=_put,
)

"""A camera answers searches otherwise than it should."""

from __future__ import annotations

from busim.protocols import SEARCH, Reply, Request
from busim.simulator.fault_hooks import CameraReply, CameraRequest, Remove, remove_all
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count, time, word


class _Searched:
    """Takes searches that are not for it, where it answers outside of its range."""

    inner: CameraRequest

    def __init__(self, bench: CameraBench, *, hidden: bool = False) -> None:
        self._bench = bench
        self._hidden = hidden

    def __call__(self, request: Request, at: int, /) -> None:
        if request.verb == SEARCH:
            self._bench.effect("is hidden" if self._hidden else "answers a search that is not for it")
            if self._hidden:
                return
            _, _, *rest = request.values
            request = request._replace(values=(0, 0xFFFFFFFF, *rest))
        self.inner(request, at)


class _Answer:
    inner: CameraReply

    def __init__(self, bench: CameraBench, values: Values) -> None:
        self._bench = bench
        self._values = values

    def answer(self, raw: bytes, reply: Reply) -> tuple[int, bytes]:
        delay, raw = self.inner.answer(raw, reply)
        if reply.verb != SEARCH or not raw:
            return delay, raw
        how = self._values["how"]
        self._bench.effect(how)
        if how == "twice":
            self._bench.send(raw, self._bench.asked_at + delay + self._values["later"])
            return delay, raw
        return delay, raw + b"\0\0" if how == "too-long" else raw[:-2]


def _put(bench: CameraBench, values: Values) -> Remove:
    if values["how"] == "out-of-range":
        return bench.request.cover(_Searched(bench))
    if values["how"] == "hides-others":
        hidden = bench.neighbours(values["others"])
        return remove_all(*[one.request.cover(_Searched(one, hidden=True)) for one in hidden])
    return bench.reply.cover(_Answer(bench, values))


FAULT = Fault(
    name="bad-search-reply",
    code="B11",
    title="A camera misbehaves in a search",
    on="camera",
    hook="camera request",
    wire="In answer to a search the camera sends twice, too much, too little, though it is not in the range asked for, "
    "or keeps the answers of its neighbours from the line.",
    seen="A search that finds phantoms, misses cameras, or does not end.",
    parameters=(
        word("how", "what it does", "out-of-range", "twice", "too-long", "too-short", "hides-others"),
        time("later", "from the first answer to the second", "30 ms", "1 ms", "1 s"),
        count("others", "cameras on either side that it hides", "1", "1", "32"),
    ),
    put=_put,
)

"""A gateway answers for a camera: that it is busy, or that the camera failed; or repeats the request by itself."""

from __future__ import annotations

from collections.abc import Callable

from busim.foundation.errors import Defect
from busim.protocols import Reply, Request
from busim.simulator.fault_hooks import Remove, remove_all
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count, share, time, word
from busim.simulator.faults.passages import cover_down, cover_up

_CODES = {"busy": 6, "target-failed": 11}
_ANY = 1  # the code of a refusal that each protocol can carry


class _Gateway:
    def __init__(self, bench: ConverterBench, values: Values) -> None:
        self._bench = bench
        self._values = values
        self._turn = 0  # counts requests and replies: a repeat is due only while neither came

    def down(self, data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        self._turn += 1
        requests = self._bench.protocol.cut_requests(data)[0]
        how = self._values["how"]
        if not requests or not self._bench.happens(self._values["share"]):
            pass_on(data, 0)
        elif how == "repeats":
            pass_on(data, 0)
            self._watch(data, self._values["repeats"])
        elif how == "drops":
            self._bench.effect(f"{len(data)} bytes: the queue is full")
        else:
            wait = 0 if how == "busy" else self._values["wait"]
            of = requests[0]
            self._bench.effect(f"{how}: {of.verb} of {of.key} at ID {of.address}")
            self._bench.kernel.at(self._bench.kernel.now + wait, self._refuse, of)

    def up(self, data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        self._turn += 1
        pass_on(data, 0)

    def _refuse(self, request: Request) -> None:
        code, protocol = _CODES[self._values["how"]], self._bench.protocol
        reply = Reply(request.address, request.verb, request.key, (), code, request.form)
        try:
            refusal = protocol.encode_reply(reply)
        except Defect:  # it has no room for this code
            refusal = protocol.encode_reply(reply._replace(refused=_ANY))
        self._bench.put_up(refusal)

    def _watch(self, data: bytes, left: int) -> None:
        if left:
            at = self._bench.kernel.now + self._values["wait"]
            self._bench.kernel.at(at, self._again, (self._turn, data, left))

    def _again(self, what: tuple[int, bytes, int]) -> None:
        turn, data, left = what
        if turn == self._turn:
            self._bench.effect("the gateway repeats a request")
            self._bench.line.send(self._bench.station, data)
            self._watch(data, left - 1)


def _put(bench: ConverterBench, values: Values) -> Remove:
    gateway = _Gateway(bench, values)
    return remove_all(cover_down(bench, gateway.down), cover_up(bench, gateway.up))


FAULT = Fault(
    name="busy-gateway",
    code="C14",
    title="A gateway answers for the camera",
    on="converter",
    hook="converter",
    wire="Requests do not reach the line, or reach it several times, for the gateway repeats them by itself.",
    seen="A refusal at once (busy), a refusal after the gateway's own time-out (target failed), silence, or a reply "
    "after the master has given up.",
    parameters=(
        word("how", "what the gateway does", "busy", "target-failed", "drops", "repeats"),
        time("wait", "how long it waits for a camera", "400 ms", "1 ms", "10 s"),
        count("repeats", "how often it repeats a request", "2", "0", "3"),
        share("share of the requests", "0.2"),
    ),
    put=_put,
    hides=("requests", "replies", "added-requests", "swallowed-requests"),
    source="MODBUS Application Protocol V1.1b3, 7, for the codes 6 (server device busy) and 11 (gateway target device "
    "failed to respond), from memory; the times are common practice, no source",
)

"""Another client of the converter asks too, and the converter mixes the two up."""

from __future__ import annotations

from busim.simulator.fault_hooks import Passage, Remove, remove_all
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.foreign_request import foreign_request
from busim.simulator.faults.parameters import Values, count, rate, share, word
from busim.simulator.faults.recurring import recurring

_GUEST = -(10**9)  # the number of the other client: no other has one so low


class _Mix:
    """What both clients share. `waiting`: requests of the guest that go out between the bytes of another client."""

    def __init__(self) -> None:
        self.last: int | None = None
        self.waiting = b""


class _Down:
    inner: Passage

    def __init__(self, mix: _Mix) -> None:
        self._mix = mix

    def __call__(self, data: bytes, client: int | None, /) -> None:
        mix = self._mix
        mix.last = client
        if client != _GUEST and mix.waiting:
            guest, mix.waiting = mix.waiting, b""
            data = b"".join(bytes(pair) for pair in zip(data, guest, strict=False)) + data[len(guest) :]
        self.inner(data, client)


class _Up:
    inner: Passage

    def __init__(self, bench: ConverterBench, values: Values, mix: _Mix) -> None:
        self._bench = bench
        self._values = values
        self._mix = mix

    def __call__(self, data: bytes, client: int | None, /) -> None:
        to = self._values["replies"]
        astray = to == "mixed-up" and self._bench.happens(self._values["share"])
        if astray or (to == "last-client" and self._mix.last == _GUEST):
            self._bench.effect(f"{len(data)} bytes go to the other client")
            return
        self.inner(data, client)


def _put(bench: ConverterBench, values: Values) -> Remove:
    raw = foreign_request(bench.protocol, values)
    mix = _Mix()

    def strike() -> None:
        bench.effect("the other client asks")
        if values["requests"] == "interleaved":
            mix.waiting = raw
        else:
            bench.put_down(raw, _GUEST)

    return remove_all(
        bench.down.cover(_Down(mix)), bench.up.cover(_Up(bench, values, mix)), recurring(bench, values["rate"], strike)
    )


FAULT = Fault(
    name="second-client",
    code="C4",
    title="A second client of the converter",
    on="converter",
    hook="converter",
    wire="Requests of another client go out through the same converter, between those of the master or between their "
    "bytes; cameras answer them.",
    seen="Replies to questions of somebody else, replies that never come, and requests that no camera understands.",
    parameters=(
        rate("rate", "how often the other client asks", "2 /s", "20 /s"),
        count("bus_id", "which bus ID it asks", "1", "0", "255"),
        count("key", "which value", "0", "0", "65535"),
        word("requests", "how its requests reach the line: each whole, or byte by byte between those of the master",
             "whole", "interleaved"),
        word("replies", "who gets the replies", "all", "last-client", "mixed-up"),
        share("chance of each packet to go astray, where replies are mixed up", "0.2"),
    ),
    put=_put,
    says=foreign_request,
    hides=("requests", "replies", "added-requests", "swallowed-requests"),
    also=("M5",),
)  # fmt: skip

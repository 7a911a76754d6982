"""A USB adapter keeps bytes until its timer ends or its packet is full."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Passage, Remove
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count, shown_time, time


class _Adapter:
    """Covers the way to the network."""

    inner: Passage

    def __init__(self, bench: ConverterBench, values: Values) -> None:
        self._bench = bench
        self._values = values
        self._kept = b""
        self._due = -1
        self._client: int | None = None

    def __call__(self, data: bytes, client: int | None, /) -> None:
        self._kept += data
        self._client = client
        size = self._values["packet"]
        while len(self._kept) >= size:
            full, self._kept = self._kept[:size], self._kept[size:]
            self.inner(full, client)
        if self._kept and self._due < 0:
            timer = self._values["timer"]
            now = self._bench.kernel.now
            self._due = (now // timer + 1) * timer  # the timer runs by itself
            self._bench.effect(f"{len(self._kept)} bytes wait for {shown_time(self._due - now)}")
            self._bench.kernel.at_shown(self._due, self._over)

    def _over(self, _: object) -> None:
        self._due = -1
        self.flush()

    def flush(self) -> None:
        kept, self._kept = self._kept, b""
        if kept:
            self.inner(kept, self._client)


def _put(bench: ConverterBench, values: Values) -> Remove:
    adapter = _Adapter(bench, values)
    uncover: Callable[[], None] = bench.up.cover(adapter)

    def remove() -> None:
        adapter.flush()
        uncover()

    return remove


FAULT = Fault(
    name="usb-latency",
    code="C20",
    title="The latency timer of a USB adapter",
    on="converter",
    hook="converter to network",
    wire="The line is as it should be; what was received waits for the adapter's timer, or for a full packet.",
    seen="Each reply comes up to 16 ms later; at most about 62 exchanges a second; long replies in pieces.",
    parameters=(
        time("timer", "its period", "16 ms", "1 ms", "255 ms"),
        count("packet", "bytes of a full packet, which goes at once", "62", "1", "510"),
    ),
    put=_put,
    hides=("replies", "late-replies"),
    source="FTDI AN232B-04, second-hand: 16 ms, packets of 62 bytes",
)

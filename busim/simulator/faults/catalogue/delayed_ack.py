"""The second small segment waits until the first was acknowledged."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove, remove_all
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, shown_time, time
from busim.simulator.faults.passages import cover_down, cover_up


def _put(bench: ConverterBench, values: Values) -> Remove:
    way = _Way(values["delay"])

    def down(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        wait = way.take(bench.kernel.now)
        if wait:
            bench.effect(f"{len(data)} bytes wait for {shown_time(wait)}")
        pass_on(data, wait)

    def up(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        way.acknowledge()
        pass_on(data, 0)

    return remove_all(cover_down(bench, down), cover_up(bench, up))


class _Way:
    """What is under way to the line. All that comes before its acknowledgement waits, then goes together (RFC 896).

    `delay`: ns until a segment is acknowledged.
    """

    def __init__(self, delay: int) -> None:
        self._delay = delay
        self._acknowledged = -1  # ns when the segment under way will be
        self._waiting = False  # whether another goes then

    def take(self, now: int) -> int:
        """A segment comes at `now` ns. Returns the ns for which it waits."""
        if self._waiting and now >= self._acknowledged:  # what waited went then, and is under way itself
            self._acknowledged += self._delay
            self._waiting = False
        if now < self._acknowledged:
            self._waiting = True
            return self._acknowledged - now
        self._acknowledged = now + self._delay
        return 0

    def acknowledge(self) -> None:
        """A reply carries the acknowledgement of all that was under way."""
        if not self._waiting:
            self._acknowledged = -1


FAULT = Fault(
    name="delayed-ack",
    code="C17",
    title="A second small segment waits for an acknowledgement",
    on="converter",
    hook="converter to line",
    wire="A request that was written in two pieces reaches the line as two, with a gap of tens of milliseconds.",
    seen="Fixed steps of 40 or 200 ms, and time-outs of requests that were written in pieces.",
    parameters=(time("delay", "until the first piece is acknowledged", "40 ms", "1 ms", "500 ms"),),
    put=_put,
    hides=("late-requests",),
    source="RFC 896; RFC 1122, 4.2.3.2 (less than 500 ms) and 4.2.3.4; 40 to 200 ms in Linux, include/net/tcp.h",
)

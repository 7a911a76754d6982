"""The kernel: a heap of (time, running number, callback, argument).

The running number keeps events of one nanosecond in the order of scheduling, so a run is one definite sequence. There
is no cancelling: the callback checks whether its event still matters. Inputs from outside enter between two calls of
`advance`, never inside one.
"""

from __future__ import annotations

from collections.abc import Callable, Sized
from heapq import heappop, heappush
from types import FunctionType
from typing import Any

from busim.foundation.errors import Defect


class Kernel:
    """Simulated time in integer ns. `now` is the time of the event that runs, or where `advance` stopped."""

    __slots__ = ("_count", "_heap", "now")

    def __init__(self) -> None:
        self.now = 0
        self._heap: list[tuple[int, int, Callable[[Any], None], Any]] = []
        self._count = 0

    def at(self, when: int, what: Callable[[Any], None], argument: Any = None) -> None:
        """Call `what(argument)` at `when` ns. Raises Defect for an instant that has passed."""
        if when < self.now:
            raise Defect(f"an event was scheduled for {when} ns, but it is already {self.now} ns")
        self._count += 1
        heappush(self._heap, (when, self._count, what, argument))

    # Nothing waits in this kernel, so these two are `at`, written out: each exchange would pay for a call more, and an
    # alias (`at_near = at`) cannot be compiled.

    def at_shown(self, when: int, what: Callable[[Any], None], argument: Any = None) -> None:
        """An event that shows outside when it happens."""
        if when < self.now:
            raise Defect(f"an event was scheduled for {when} ns, but it is already {self.now} ns")
        self._count += 1
        heappush(self._heap, (when, self._count, what, argument))

    def at_near(self, when: int, what: Callable[[Any], None], argument: Any = None) -> None:
        """An event whose effect shows a little later."""
        if when < self.now:
            raise Defect(f"an event was scheduled for {when} ns, but it is already {self.now} ns")
        self._count += 1
        heappush(self._heap, (when, self._count, what, argument))

    def at_or_now(self, when: int, what: Callable[[Any], None], argument: Any = None) -> None:
        """As `at`, but now if that instant has passed: a station may learn late (see `busim.simulator.bus.line`)."""
        self._count += 1
        heappush(self._heap, (when if when > self.now else self.now, self._count, what, argument))

    def next_deadline(self) -> int | None:
        """When the next event is due, in ns; None when nothing is scheduled."""
        return self._heap[0][0] if self._heap else None

    def wake_by(self) -> int | None:
        """Until when a clock that follows the time of day may leave the kernel alone, ns; None: for ever."""
        return self.next_deadline()

    def advance(self, to: int) -> None:
        """Run every event up to and including `to` ns, then stand at `to`."""
        heap = self._heap
        while heap and heap[0][0] <= to:
            when, _, what, argument = heappop(heap)
            self.now = when
            what(argument)
        self.now = max(self.now, to)

    def advance_until(self, to: int, found: Sized) -> None:
        """As `advance`, but stop after the instant whose events left something in `found`."""
        heap = self._heap
        while heap and heap[0][0] <= to:
            when, _, what, argument = heappop(heap)
            self.now = when
            what(argument)
            if found and not (heap and heap[0][0] == when):
                return
        self.now = max(self.now, to)


class PatientKernel(Kernel):
    """A kernel that knows how long its events can wait before anybody outside could notice.

    `near`, `far`: ns for which events scheduled by `at_near` and `at` can wait, because their effects show no earlier.
    Waiting changes nothing inside: every event still runs with `now` at its own instant, and in order.
    """

    __slots__ = ("_far", "_near", "_urgent")

    def __init__(self, near: int, far: int) -> None:
        super().__init__()
        self._near = near
        self._far = far
        self._urgent: list[tuple[int, int]] = []  # latest instant to run, and the instant of the event itself

    def at_shown(self, when: int, what: Callable[[Any], None], argument: Any = None) -> None:
        """An event that shows outside when it happens."""
        heappush(self._urgent, (when, when))
        self.at(when, what, argument)

    def at_near(self, when: int, what: Callable[[Any], None], argument: Any = None) -> None:
        """An event whose effect shows `near` later at the earliest."""
        heappush(self._urgent, (when + self._near, when))
        self.at(when, what, argument)

    def wake_by(self) -> int | None:
        urgent, heap = self._urgent, self._heap
        if not heap:
            urgent.clear()
            return None
        while urgent and urgent[0][1] < heap[0][0]:  # it has run
            heappop(urgent)
        far = heap[0][0] + self._far
        return min(far, urgent[0][0]) if urgent else far


def core() -> str:
    """Which core runs: `pure Python` or `compiled`. Seen at the kernel itself: a compiled method is no function."""
    return "pure Python" if isinstance(Kernel.advance, FunctionType) else "compiled"

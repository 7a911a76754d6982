"""The kernel: callbacks in the order of their instants; those of one instant in the order of scheduling.

So a run is one definite sequence. There is no cancelling: the callback checks whether its event still matters. Inputs
from outside enter between two calls of `advance`, never inside one.

A few events per line are pending at any time. For so few an ordered list, searched by halving, is quicker than a heap:
it compares plain numbers, and most new events are near its end. 10,000 pending ones still cost microseconds each.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sized
from heapq import heappop, heappush
from types import FunctionType
from typing import Any, Final

from busim.foundation.errors import Defect

# Looked up once: the compiled core would look for an import of the standard library at each call.
_place: Final = bisect_left


class Kernel:
    """Simulated time in integer ns. `now` is the time of the event that runs, or where `advance` stopped."""

    __slots__ = ("_dues", "_events", "now")

    def __init__(self) -> None:
        self.now = 0
        self._dues: list[int] = []  # instants of the events below them, negative and in order: the next event is last
        # Callback and argument. The compiled core would take a tuple of known types apart and put it together again at
        # each look.
        self._events: list[tuple[Any, ...]] = []

    def at(self, when: int, what: Callable[[Any], None], argument: Any = None) -> None:
        """Call `what(argument)` at `when` ns. Raises Defect for an instant that has passed."""
        if when < self.now:
            raise Defect(f"an event was scheduled for {when} ns, but it is already {self.now} ns")
        dues = self._dues
        place = _place(dues, -when)
        dues.insert(place, -when)
        self._events.insert(place, (what, argument))

    def at_shown(self, when: int, what: Callable[[Any], None], argument: Any = None) -> None:
        """An event that shows outside when it happens."""
        self.at(when, what, argument)

    def at_near(self, when: int, what: Callable[[Any], None], argument: Any = None) -> None:
        """An event whose effect shows a little later."""
        self.at(when, what, argument)

    def at_or_now(self, when: int, what: Callable[[Any], None], argument: Any = None) -> None:
        """As `at`, but now if that instant has passed: a station may learn late (see `busim.simulator.bus.line`)."""
        self.at(when if when > self.now else self.now, what, argument)

    def at_heard(self, when: int, what: Callable[[Any], None], argument: Any = None) -> None:
        """As `at_or_now`, for an event in which only cameras hear: it shows in their answers."""
        self.at(when if when > self.now else self.now, what, argument)

    def hasten(self) -> None:
        """From now on something may show sooner than a camera answers: a fault is there."""

    def next_deadline(self) -> int | None:
        """When the next event is due, in ns; None when nothing is scheduled."""
        return -self._dues[-1] if self._dues else None

    def wake_by(self) -> int | None:
        """Until when a clock that follows the time of day may leave the kernel alone, ns; None: for ever."""
        return self.next_deadline()

    def advance(self, to: int) -> None:
        """Run every event up to and including `to` ns, then stand at `to`."""
        self.advance_until(to, ())

    def advance_until(self, to: int, found: Sized) -> None:
        """As `advance`, but stop after the instant whose events left something in `found`."""
        dues, events = self._dues, self._events
        while dues:
            due = dues[-1]
            if -due > to:
                break
            dues.pop()
            event = events.pop()
            self.now = -due
            event[0](event[1])
            if found and not (dues and dues[-1] == due):
                return
        self.now = max(self.now, to)


class PatientKernel(Kernel):
    """A kernel that knows how long its events can wait before anybody outside could notice.

    `near`, `far`, `heard`: ns for which events scheduled by `at_near`, `at` and `at_heard` can wait, because their
    effects show no earlier. Waiting changes nothing inside: every event still runs with `now` at its own instant, and
    in order.
    """

    __slots__ = ("_far", "_heard", "_near", "_urgent")

    def __init__(self, near: int, far: int, heard: int) -> None:
        super().__init__()
        self._near = near
        self._far = far
        self._heard = heard
        self._urgent: list[tuple[int, int]] = []  # latest instant to run, and the instant of the event itself

    def at(self, when: int, what: Callable[[Any], None], argument: Any = None) -> None:
        super().at(when, what, argument)
        heappush(self._urgent, (when + self._far, when))

    def at_shown(self, when: int, what: Callable[[Any], None], argument: Any = None) -> None:
        """An event that shows outside when it happens."""
        super().at(when, what, argument)
        heappush(self._urgent, (when, when))

    def at_near(self, when: int, what: Callable[[Any], None], argument: Any = None) -> None:
        """An event whose effect shows `near` later at the earliest."""
        super().at(when, what, argument)
        heappush(self._urgent, (when + self._near, when))

    def at_heard(self, when: int, what: Callable[[Any], None], argument: Any = None) -> None:
        super().at(max(when, self.now), what, argument)

    def hasten(self) -> None:
        self._heard = self._far

    def wake_by(self) -> int | None:
        urgent, due = self._urgent, self.next_deadline()
        if due is None:
            urgent.clear()
            return None
        while urgent and urgent[0][1] < due:  # it has run
            heappop(urgent)
        latest = due + self._heard
        return min(latest, urgent[0][0]) if urgent else latest


def core() -> str:
    """Which core runs: `pure Python` or `compiled`. Seen at the kernel itself: a compiled method is no function."""
    return "pure Python" if isinstance(Kernel.advance, FunctionType) else "compiled"

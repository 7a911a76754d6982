"""The wall clock: one asyncio timer advances a kernel with the time of day.

A simulated event is never an asyncio timer: timers do not keep order among equals. The one timer is set to the instant
at which somebody outside could notice a delay. Then the kernel runs everything that is due, and the timer is set again.
Most events only lead to one that shows: nobody sees when a camera was served, only when its answer comes. A wake-up for
each of them cost more than its simulation, and made the others late.

Inputs from outside enter between two such advances, at the instant the kernel has just reached. So a list of inputs
with their instants is all that replay needs.

If the machine is too slow, the kernel falls behind the clock and nothing else suffers: events run at their exact
simulated instants, inputs get the instant of the simulation, and the loop still gets its turn for signals and sockets.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from typing import Any, TypeVar

from busim.simulator.kernel import Kernel

_STRIDE = 20_000_000  # ns of wall time that a late kernel may use before the loop gets its turn
_BEHIND = 250_000_000  # ns behind the clock above which it is reported

_T = TypeVar("_T")


class Wall:
    """Drives `kernel` with the wall clock; simulated instant 0 is at `origin` of time.monotonic_ns, by default now.

    `speed`: simulated time per wall time. `until`: simulated instant (ns) of the run's end. `late(at, ns)` is called
    with the deadline and its lateness in ns of wall time; `behind(ns)` once, when the kernel first falls a quarter of a
    second behind.

    `ended` (after `start`) is done when the run is over: at `until`, by `stop`, or with the exception of an event.
    """

    ended: asyncio.Future[None]

    def __init__(
        self,
        kernel: Kernel,
        *,
        origin: int | None = None,
        speed: float = 1.0,
        until: int | None = None,
        late: Callable[[int, int], None] = lambda *_: None,
        behind: Callable[[int], None] = lambda *_: None,
    ) -> None:
        self._origin = time.monotonic_ns() if origin is None else origin
        self._kernel = kernel
        self._speed = speed
        self._until = until
        self._late = late
        self._behind = behind
        self._told = False
        self._loop: asyncio.AbstractEventLoop
        self._timer: asyncio.TimerHandle | None = None
        self._armed: int | None = None

    def start(self) -> None:
        """Begin to follow the clock on the running loop. Events due before do not count as late."""
        self._loop = asyncio.get_running_loop()
        self.ended = self._loop.create_future()
        try:
            self._kernel.advance(self._not_beyond(self._now()))
        except Exception as error:
            self._fail(error)
        self._arm()

    def enter(self, what: Callable[..., _T], *arguments: Any) -> _T | None:
        """An input from outside: bring the kernel to the present and apply it there. None after the run."""
        if self.ended.done():
            return None
        try:
            self._catch_up()
            result = None if self.ended.done() else what(*arguments)
        except Exception as error:  # any exception ends the run and is raised where the run is awaited
            self._fail(error)
            return None
        self._arm()
        return result

    def apart(self, what: Callable[[], None]) -> None:
        """Work that belongs to the run but not to its time; a failure ends the run with its exception."""
        try:
            what()
        except Exception as error:
            self._fail(error)

    def stop(self) -> None:
        """Bring the kernel to the present once more, and end."""
        self.enter(lambda: None)
        self._end()

    def _now(self) -> int:
        """The simulated instant by the wall clock, ns; before the origin it is negative, and nothing moves."""
        gone = time.monotonic_ns() - self._origin
        return gone if self._speed == 1.0 else int(gone * self._speed)

    def _not_beyond(self, at: int) -> int:
        return at if self._until is None or at < self._until else self._until

    def _catch_up(self) -> None:
        kernel = self._kernel
        now = self._now()
        due = kernel.next_deadline()
        to = self._not_beyond(now)
        if due is not None and due <= to:
            by = kernel.wake_by()
            if by is not None and by <= to:
                self._judge(by, now)
            kernel.advance(min(to, due + int(_STRIDE * self._speed)))
            due = kernel.next_deadline()
        if due is None or due > to:
            kernel.advance(to)
        if self._until is not None and kernel.now >= self._until:
            self._end()

    def _judge(self, due: int, now: int) -> None:
        late = now - due if self._speed == 1.0 else int((now - due) / self._speed)
        self._late(due, late)
        if late > _BEHIND and not self._told:
            self._told = True
            self._behind(late)

    def _arm(self) -> None:
        due = self._kernel.wake_by()
        if self._until is not None and (due is None or due > self._until):
            due = self._until
        if due == self._armed or self.ended.done():
            return
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        self._armed = due
        if due is not None:
            self._timer = self._loop.call_at((self._origin + due / self._speed) / 1e9, self._wake)

    def _wake(self) -> None:
        self._timer = self._armed = None
        self.enter(lambda: None)

    def _end(self) -> None:
        if not self.ended.done():
            self.ended.set_result(None)
        self._disarm()

    def _fail(self, error: Exception) -> None:
        if not self.ended.done():
            self.ended.set_exception(error)
        self._disarm()

    def _disarm(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

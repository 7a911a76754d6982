"""Virtual time: an asyncio loop whose clock jumps, around one kernel.

The kernel's now is the time, an integer of nanoseconds; `loop.time()` is the same in seconds. While a callback is
ready, no time passes. Otherwise time jumps to the kernel's next event or to the next timer, whichever is earlier. At
one instant the kernel's events come first, so a controller sees everything that has happened. Timers of one instant
ring in the order in which they were set, which asyncio itself does not promise. So a program that takes its time from
the loop behaves the same in every run.

A wait that can never end is an error: with nothing ready, no timer and nothing under way there is no next instant, and
the clock would stand still for ever.
"""

from __future__ import annotations

import asyncio
import threading
from collections import deque
from collections.abc import Callable, Collection
from contextvars import Context
from heapq import heapify, heappop, heappush
from typing import Any, TypeVar, TypeVarTuple

from busim.foundation.errors import Defect
from busim.runtime.clocks.guard import STILL, Guard
from busim.runtime.clocks.handles import LeanHandle, LeanTimer, tell_failure
from busim.runtime.clocks.networking import Networking
from busim.runtime.clocks.numbered import NumberedFuture, NumberedTask, Numbers, direct_futures, number_gatherings
from busim.runtime.clocks.refused import Refusals, refuse
from busim.runtime.clocks.waiting import deadlock, runner, spinning, too_long
from busim.simulator.kernel import Kernel

_RESOLUTION = 1e-9  # 0 would make asyncio's own wait never end
_NEVER = 9_000_000_000  # seconds; a timer beyond 285 years is no instant to jump to
_LAST = _NEVER * 10**9  # ns
_PATIENCE = (
    3600 * 10**9
)  # ns without anything for the controller, and no timer set, after which its wait counts as vain
_LOOKED = 200  # turns in which spinning tasks are noted
_MANY = 100  # cancelled timers that may remain

_T = TypeVar("_T")
_Ts = TypeVarTuple("_Ts")


class VirtualLoop(Refusals, Networking):  # type: ignore[misc]  # what is refused needs no arguments
    """A loop for `asyncio.Runner(loop_factory=...)`.

    `until`: simulated ns beyond which it refuses to go. An exception of a kernel event leaves the loop unchanged, and
    is kept in `failure`. Raises UserError if everything waits for ever and for each feature that takes wall time (see
    `busim.runtime.clocks.refused`). `stand_in`: modules whose `time` is simulated while it runs; `told`: modules that
    have had the warning about wall time (see `busim.runtime.clocks.guard`).
    """

    _ready: deque[asyncio.Handle]  # asyncio's own: callbacks due now
    _closed: bool
    _debug: bool
    _stopping: bool
    _thread_id: int | None

    def __init__(
        self, kernel: Kernel, *, until: int | None = None, stand_in: Collection[str] = (), told: set[str] | None = None
    ) -> None:
        super().__init__()
        number_gatherings()
        self.numbers = Numbers()
        self._guard = Guard(lambda: kernel.now, self._block, stand_in, told)
        self._instant = -1
        self._turns = 0  # at this instant
        self._kernel = kernel
        self._until = until
        self._clock_resolution = _RESOLUTION
        self._timers: list[tuple[int, int, asyncio.TimerHandle]] = []
        self._set = 0
        self._cancelled = 0
        self.failure: Exception | None = None
        self._raised = self._inside = False

    # -- time -----------------------------------------------------------------------------------------------

    def time(self) -> float:
        """Simulated seconds."""
        return self._kernel.now / 1e9

    def call_later(
        self, delay: float, callback: Callable[[*_Ts], object], *args: *_Ts, context: Context | None = None
    ) -> asyncio.TimerHandle:
        if delay is None:
            raise TypeError("delay must not be None")
        return self._timer(self._kernel.now + max(0, _ns(delay)), callback, args, context)

    def call_at(
        self, when: float, callback: Callable[[*_Ts], object], *args: *_Ts, context: Context | None = None
    ) -> asyncio.TimerHandle:
        if when is None:
            raise TypeError("when cannot be None")
        return self._timer(_ns(when), callback, args, context)

    def call_soon(
        self, callback: Callable[[*_Ts], object], *args: *_Ts, context: Context | None = None
    ) -> asyncio.Handle:
        """As asyncio's, without its double checks: it is called three times per exchange."""
        if self._closed:
            raise RuntimeError("Event loop is closed")
        kind = asyncio.Handle if self._debug else LeanHandle
        handle = kind(callback, args, self, context)
        self._ready.append(handle)
        return handle

    def _timer(
        self, at: int, callback: Callable[..., object], args: Any, context: Context | None
    ) -> asyncio.TimerHandle:
        if self._closed:
            raise RuntimeError("Event loop is closed")
        kind = asyncio.TimerHandle if self._debug else LeanTimer
        timer = kind(at / 1e9, callback, args, self, context)
        timer._scheduled = True  # type: ignore[attr-defined]  # so that cancelling it is told here
        self._set += 1
        heappush(self._timers, (at, self._set, timer))
        return timer

    def _timer_handle_cancelled(self, handle: asyncio.TimerHandle) -> None:
        self._cancelled += 1
        if self._cancelled > _MANY and self._cancelled * 2 > len(self._timers):
            self._timers = [entry for entry in self._timers if not entry[2].cancelled()]
            heapify(self._timers)
            self._cancelled = 0

    def _next_timer(self) -> int | None:
        timers = self._timers
        while timers:
            at, _, timer = timers[0]
            if not timer._cancelled:  # as `cancelled()`, in line
                return at if at < _LAST else None
            heappop(timers)
            self._cancelled -= 1
        return None

    def _run_once(self) -> None:
        """Turns of one instant, after a jump if nothing is ready.

        A turn: the kernel's events of this instant, then the timers, then the callbacks ready at its start.
        """
        ready, kernel = self._ready, self._kernel
        if not ready and not self._stopping:
            self._jump()
        while True:
            if self.failure is not None and not self._raised:
                self._raised = True
                raise self.failure
            now = kernel.now
            if self._instant != now:
                self._instant, self._turns = now, 0
            else:
                self._turns += 1
                if self._turns > STILL:
                    self._turns = 0
                    raise self._spinning()
            due = kernel.next_deadline()
            if due is not None and due <= now:
                self._advance(now)
            if self._timers and self._timers[0][0] <= now:
                self._ring()
            for _ in range(len(ready)):
                handle = ready.popleft()
                if not handle._cancelled:
                    try:  # as `handle._run()`, in line
                        handle._context.run(handle._callback, *handle._args)  # type: ignore[attr-defined]
                    except (SystemExit, KeyboardInterrupt):
                        raise
                    except BaseException as error:
                        tell_failure(self, handle, error)
            if self._stopping or not ready:
                return

    def _spinning(self) -> Exception:
        """Let it spin a little longer, and note which tasks spin."""
        seen: dict[str, int] = {}
        for _ in range(_LOOKED):
            for _ in range(len(self._ready)):
                handle = self._ready.popleft()
                if not handle._cancelled:
                    name = runner(handle)
                    seen[name] = seen.get(name, 0) + 1
                    handle._run()
            self._ring()
        return spinning(seen, STILL)

    def _ring(self) -> None:
        """Make due timers ready."""
        timers, now = self._timers, self._kernel.now
        while timers and timers[0][0] <= now:
            timer = heappop(timers)[2]
            if timer.cancelled():
                self._cancelled -= 1
            else:
                timer._scheduled = False  # type: ignore[attr-defined]
                self._ready.append(timer)

    def _jump(self) -> None:
        """Jump to the instant of the next ready callback or timer."""
        now = self._kernel.now
        timer = self._next_timer()
        if timer is None and self._due() is None:
            raise deadlock(self)
        to = now + _PATIENCE if timer is None else timer
        if self._until is not None and to > self._until:
            to = max(now, self._until)
        self._advance(to)
        if self._ready or to == timer:
            return
        if to == self._until:
            raise too_long(self, to)
        raise deadlock(self, _PATIENCE if self._due() is not None else None)

    def _due(self) -> int | None:
        """The instant of the kernel's next event; none after a failure, but tasks may still finish."""
        return self._kernel.next_deadline() if self.failure is None else None

    def _advance(self, to: int) -> None:
        """Advance until something is ready, `to` at most."""
        if self.failure is not None:
            self._kernel.now = max(self._kernel.now, to)
            return
        self._inside = True
        try:
            self._kernel.advance_until(to, self._ready)
        except Exception as error:
            self._inside = False
            self.failure, self._raised = error, True
            raise
        self._inside = False

    def _block(self, ns: int) -> None:
        """The program sleeps outside the loop: time passes, events happen, and no callback runs."""
        to = self._kernel.now + ns
        over = self._until is not None and to > self._until
        if self.failure is not None or asyncio._get_running_loop() is not self:
            return
        if self._inside:
            refuse("sleep inside an event of the simulation", "sleep in a coroutine")
        try:
            self._inside = True
            self._kernel.advance(max(self._kernel.now, self._until or 0) if over else to)
        except Exception as error:
            self.failure, self._raised = error, True
            raise
        finally:
            self._inside = False
        if over:
            raise too_long(self, self._until or 0)

    def enter(self, what: Callable[..., _T], *arguments: Any) -> _T | None:
        """An action of the controller: apply it after the kernel's events of this instant. None after the run."""
        if self.failure is not None:
            return None
        try:
            due = self._kernel.next_deadline()
            if due is not None and due <= self._kernel.now:
                self._kernel.advance(self._kernel.now)
            return what(*arguments)
        except Exception as error:  # in a callback, which would only log it: the next turn raises it
            self.failure = error
            return None

    # -- tasks ----------------------------------------------------------------------------------------------

    def create_task(  # type: ignore[override]
        self, coro: Any, *, name: str | None = None, context: Context | None = None, **more: Any
    ) -> asyncio.Task[Any]:
        """As asyncio's; a task hashes by number, so that sets of tasks keep their order in every process."""
        if self.get_task_factory() is not None:
            return super().create_task(coro, name=name, context=context, **more)
        if self._closed:
            raise RuntimeError("Event loop is closed")
        return NumberedTask(coro, loop=self, name=name, context=context, **more)

    def create_future(self) -> asyncio.Future[Any]:
        return NumberedFuture(loop=self)

    def run_forever(self) -> None:
        with self._guard, direct_futures():
            super().run_forever()

    # -- what asyncio wants of a loop -----------------------------------------------------------------------

    def _write_to_self(self) -> None:
        """No sleeping thread has to be woken."""

    def _process_events(self, event_list: Any) -> None:
        raise Defect("virtual time has no selector")

    def call_soon_threadsafe(
        self, callback: Callable[[*_Ts], object], *args: *_Ts, context: Context | None = None
    ) -> asyncio.Handle:
        if self._thread_id is not None and self._thread_id != threading.get_ident():
            refuse("threads (loop.call_soon_threadsafe)", "do the work in a coroutine, or use wall time (busim.Live)")
        return self.call_soon(callback, *args, context=context)

    def close(self) -> None:
        """Close the loop; converters see their clients leave."""
        if not self.is_closed() and not self.is_running():
            for server in self._network.servers:
                server.drop()
            self._datagrams.drop()
        super().close()
        self._timers.clear()


def _ns(seconds: float) -> int:
    """The first nanosecond at which `loop.time()` has reached this many seconds."""
    if seconds >= _NEVER:
        return _LAST
    at = round(seconds * 1e9)
    return at if at / 1e9 >= seconds else at + 1

"""The event loop of wall time: an ordinary asyncio loop that wakes in time.

Python's epoll selector rounds every wait up to a whole millisecond, eleven characters at 115200 Bd. `select` waits to
the microsecond, but takes no file number above 1023, so a crowd of clients would break the loop. So epoll watches the
sockets, and `select` waits for epoll's own descriptor. Linux also lets a thread oversleep by 50 us to save power,
unless it asks for less.
"""

from __future__ import annotations

import asyncio
import contextlib
import ctypes
import select
import selectors
import sys

_PR_SET_TIMERSLACK = 29  # linux/prctl.h
_SLACK = 1000  # ns
_SELECTABLE = 1024  # FD_SETSIZE

if sys.platform == "linux":

    class _Selector(selectors.EpollSelector):
        """epoll that waits to the microsecond."""

        def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
            if self.fileno() >= _SELECTABLE:  # a loop made in a process with a thousand files open: late, not broken
                return super().select(timeout)
            if (timeout is None or timeout > 0) and not select.select((self.fileno(),), (), (), timeout)[0]:
                return []
            return super().select(0)

else:  # kqueue waits to the nanosecond; elsewhere only select is left
    _Selector = selectors.DefaultSelector


def wall_loop() -> asyncio.SelectorEventLoop:
    """A new event loop that wakes within microseconds of its timers; pass it to `asyncio.Runner`.

    The calling thread's timers become as exact as the system allows.
    """
    if sys.platform == "linux":
        with contextlib.suppress(OSError, AttributeError):  # a C library without prctl: late by 50 us more
            ctypes.CDLL(None).prctl(_PR_SET_TIMERSLACK, ctypes.c_ulong(_SLACK), 0, 0, 0)
    return asyncio.SelectorEventLoop(_Selector())

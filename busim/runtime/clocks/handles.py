"""Handles and timers of the virtual loop: asyncio's own kinds, made and cancelled in one call each.

An exchange of a controller makes five of them. asyncio's constructors ask the loop whether it debugs, and each timer
passes through two of them; so where the loop debugs, it takes asyncio's instead, which note where they were made.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextvars import Context, copy_context
from typing import Any


class LeanHandle(asyncio.Handle):
    """A callback that is due now."""

    __slots__ = ()

    def __init__(self, callback: Callable[..., object], args: Any, loop: Any, context: Context | None) -> None:
        self._context = copy_context() if context is None else context
        self._loop = loop
        self._callback = callback
        self._args = args
        self._cancelled = False
        self._repr = self._source_traceback = None


class LeanTimer(asyncio.TimerHandle):
    """A callback that is due at `when` seconds of the loop."""

    __slots__ = ()

    def __init__(
        self, when: float, callback: Callable[..., object], args: Any, loop: Any, context: Context | None
    ) -> None:
        self._context = copy_context() if context is None else context
        self._loop: Any = loop
        self._callback: Any = callback
        self._args = args
        self._cancelled = False
        self._repr = self._source_traceback = None
        self._when = when
        self._scheduled = False

    def cancel(self) -> None:
        if not self._cancelled:
            self._loop._timer_handle_cancelled(self)
            self._cancelled = True
            self._callback = None
            self._args = ()  # asyncio has None here, and nobody looks


def tell_failure(loop: asyncio.AbstractEventLoop, handle: asyncio.Handle, error: BaseException) -> None:
    """A callback raised: the loop's exception handler is called as asyncio calls it."""
    callback = asyncio.Handle._repr_info(handle)[1]  # type: ignore[attr-defined]
    context = {"message": f"Exception in callback {callback}", "exception": error, "handle": handle}
    if handle._source_traceback:  # type: ignore[attr-defined]
        context["source_traceback"] = handle._source_traceback  # type: ignore[attr-defined]
    loop.call_exception_handler(context)
